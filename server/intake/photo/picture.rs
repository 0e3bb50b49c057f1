//! A picture in gray, turned upright and cleaned.

use std::io::Cursor;

use image::imageops::FilterType;
use image::{DynamicImage, ImageDecoder, ImageReader, Limits};

use crate::format::Unreadable;

/// The longest side that is decoded, in pixels; the cameras of phones stay below it.
const LARGEST_SIDE: u32 = 12_000;
/// What decoding may set aside, in bytes.
const MOST_MEMORY: u64 = 160 * 1024 * 1024;
/// The longer side of what is read: letters are then some thirty pixels high.
const SIDE: u32 = 2_200;
/// How far a picture may lean, in degrees, and in which steps that is looked for.
const MOST_LEAN: f32 = 10.0;
const STEP: f32 = 0.5;

/// A picture in gray, from 0 for black to 255 for white.
#[derive(Debug, Clone)]
struct Gray {
    width: usize,
    height: usize,
    pixels: Vec<u8>,
}

/// The picture cleaned in three ways: with its contrast stretched, with the light of its surroundings taken out, and
/// in pure black and white. Light writing on a dark board is turned to dark on light first.
pub(super) fn clean(bytes: &[u8]) -> Result<Vec<Vec<u8>>, Unreadable> {
    let mut gray = decode(bytes)?;
    if gray.share(0.5) < 120 {
        gray.pixels.iter_mut().for_each(|pixel| *pixel = 255 - *pixel);
    }
    let flat = gray.without_shadows();
    let lean = flat.lean();
    let (gray, flat) =
        if lean.abs() >= STEP { (gray.turned(-lean), flat.turned(-lean)) } else { (gray, flat) };
    Ok(vec![gray.stretched().pgm(), flat.stretched().pgm(), flat.stretched().black_and_white().pgm()])
}

fn decode(bytes: &[u8]) -> Result<Gray, Unreadable> {
    let damaged = |error: image::ImageError| match error {
        image::ImageError::Limits(_) => Unreadable::TooManyCells,
        other => Unreadable::Damaged(crate::document::cut(&other.to_string(), 120).to_string()),
    };
    let mut limits = Limits::default();
    (limits.max_image_width, limits.max_image_height, limits.max_alloc) =
        (Some(LARGEST_SIDE), Some(LARGEST_SIDE), Some(MOST_MEMORY));
    let mut reader = ImageReader::new(Cursor::new(bytes));
    reader.limits(limits);
    let reader = reader.with_guessed_format().map_err(|error| Unreadable::Damaged(error.to_string()))?;
    let mut decoder = reader.into_decoder().map_err(damaged)?;
    // Phones note how they were held instead of turning the picture.
    let held = decoder.orientation().map_err(damaged)?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(damaged)?;
    picture.apply_orientation(held);
    let longest = picture.width().max(picture.height()).max(1);
    let scale = (SIDE as f32 / longest as f32).min(3.0);
    let size = |side: u32| ((side as f32 * scale) as u32).max(1);
    let picture = picture.into_luma8();
    let (width, height) = (size(picture.width()), size(picture.height()));
    let filter = if scale < 1.0 { FilterType::Triangle } else { FilterType::CatmullRom };
    let picture = image::imageops::resize(&picture, width, height, filter);
    Ok(Gray { width: width as usize, height: height as usize, pixels: picture.into_raw() })
}

impl Gray {
    /// The shade that this share of all pixels is darker than.
    fn share(&self, share: f32) -> u8 {
        let mut counts = [0usize; 256];
        self.pixels.iter().for_each(|pixel| counts[usize::from(*pixel)] += 1);
        let wanted = (self.pixels.len() as f32 * share) as usize;
        let mut so_far = 0;
        let shade = counts.iter().position(|count| {
            so_far += count;
            so_far > wanted
        });
        shade.and_then(|shade| u8::try_from(shade).ok()).unwrap_or(255)
    }

    /// From the darkest shades to black and from the lightest to white.
    fn stretched(&self) -> Gray {
        let (low, high) = (f32::from(self.share(0.01)), f32::from(self.share(0.97)));
        let range = (high - low).max(1.0);
        let stretch = |pixel: &u8| ((f32::from(*pixel) - low) / range * 255.0).clamp(0.0, 255.0) as u8;
        Gray { pixels: self.pixels.iter().map(stretch).collect(), ..*self }
    }

    /// Each pixel against the mean of its surroundings, so that shadows and glare go.
    fn without_shadows(&self) -> Gray {
        let reach = (self.width.max(self.height) / 28).max(8);
        let sums = Sums::of(self);
        let mut pixels = Vec::with_capacity(self.pixels.len());
        for y in 0..self.height {
            for x in 0..self.width {
                let around = sums.mean(self, x, y, reach).max(1.0);
                let own = f32::from(self.pixels[y * self.width + x]);
                pixels.push((own / around * 200.0).clamp(0.0, 255.0) as u8);
            }
        }
        Gray { pixels, ..*self }
    }

    /// Black where a pixel is clearly darker than its surroundings.
    fn black_and_white(&self) -> Gray {
        let reach = (self.width.max(self.height) / 60).max(6);
        let sums = Sums::of(self);
        let mut pixels = Vec::with_capacity(self.pixels.len());
        for y in 0..self.height {
            for x in 0..self.width {
                let dark = f32::from(self.pixels[y * self.width + x]) < sums.mean(self, x, y, reach) * 0.82;
                pixels.push(if dark { 0 } else { 255 });
            }
        }
        Gray { pixels, ..*self }
    }

    /// By how many degrees its lines lean: where rows of pixels along the lines differ most, writing and gaps alternate.
    fn lean(&self) -> f32 {
        let small = self.smaller(700);
        let dark: Vec<(f32, f32)> = (0..small.height)
            .flat_map(|y| (0..small.width).map(move |x| (x, y)))
            .filter(|(x, y)| small.pixels[y * small.width + x] < 140)
            .map(|(x, y)| (x as f32, y as f32))
            .collect();
        let sharpness = |angle: f32| -> f64 {
            let slope = angle.to_radians().tan();
            let shift = slope.abs() * small.width as f32;
            let mut rows = vec![0f64; small.height + 2 * shift as usize + 2];
            for (x, y) in &dark {
                let at = (y - x * slope + shift).max(0.0) as usize;
                if let Some(row) = rows.get_mut(at) {
                    *row += 1.0;
                }
            }
            rows.windows(2).map(|pair| (pair[1] - pair[0]).powi(2)).sum()
        };
        let steps = (MOST_LEAN / STEP) as i32;
        let best = (-steps..=steps)
            .map(|step| step as f32 * STEP)
            .map(|angle| (angle, sharpness(angle)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        best.filter(|(_, sharp)| *sharp > sharpness(0.0) * 1.05).map_or(0.0, |(angle, _)| angle)
    }

    fn smaller(&self, side: usize) -> Gray {
        let step = (self.width.max(self.height) / side).max(1);
        let (width, height) = (self.width / step, self.height / step);
        let pixels = (0..height).flat_map(|y| (0..width).map(move |x| (x, y))).map(|(x, y)| {
            let mut least = 255;
            for dy in 0..step {
                for dx in 0..step {
                    least = least.min(self.pixels[(y * step + dy) * self.width + x * step + dx]);
                }
            }
            least
        });
        Gray { width, height, pixels: pixels.collect() }
    }

    /// Turned by so many degrees around its middle; what comes in at the corners is white.
    fn turned(&self, degrees: f32) -> Gray {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let (mx, my) = (self.width as f32 / 2.0, self.height as f32 / 2.0);
        let at = |x: usize, y: usize| f32::from(self.pixels[y * self.width + x]);
        let mut pixels = Vec::with_capacity(self.pixels.len());
        for y in 0..self.height {
            for x in 0..self.width {
                let (dx, dy) = (x as f32 - mx, y as f32 - my);
                let (sx, sy) = (dx * cos + dy * sin + mx, -dx * sin + dy * cos + my);
                if sx < 0.0 || sy < 0.0 || sx >= (self.width - 1) as f32 || sy >= (self.height - 1) as f32 {
                    pixels.push(255);
                    continue;
                }
                let (x0, y0) = (sx as usize, sy as usize);
                let (fx, fy) = (sx.fract(), sy.fract());
                let above = at(x0, y0) * (1.0 - fx) + at(x0 + 1, y0) * fx;
                let below = at(x0, y0 + 1) * (1.0 - fx) + at(x0 + 1, y0 + 1) * fx;
                pixels.push((above * (1.0 - fy) + below * fy) as u8);
            }
        }
        Gray { pixels, ..*self }
    }

    fn pgm(&self) -> Vec<u8> {
        let mut out = format!("P5\n{} {}\n255\n", self.width, self.height).into_bytes();
        out.extend_from_slice(&self.pixels);
        out
    }
}

/// Sums of all pixels left of and above each place, by which the mean of any rectangle is four look-ups.
struct Sums(Vec<u64>);

impl Sums {
    fn of(gray: &Gray) -> Sums {
        let stride = gray.width + 1;
        let mut sums = vec![0u64; stride * (gray.height + 1)];
        for y in 0..gray.height {
            let mut row = 0;
            for x in 0..gray.width {
                row += u64::from(gray.pixels[y * gray.width + x]);
                sums[(y + 1) * stride + x + 1] = sums[y * stride + x + 1] + row;
            }
        }
        Sums(sums)
    }

    fn mean(&self, gray: &Gray, x: usize, y: usize, reach: usize) -> f32 {
        let stride = gray.width + 1;
        let (left, right) = (x.saturating_sub(reach), (x + reach + 1).min(gray.width));
        let (top, bottom) = (y.saturating_sub(reach), (y + reach + 1).min(gray.height));
        let at = |x: usize, y: usize| self.0[y * stride + x];
        let sum = at(right, bottom) + at(left, top) - at(left, bottom) - at(right, top);
        sum as f32 / ((right - left) * (bottom - top)) as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stripes(lean: f32) -> Gray {
        let (width, height) = (600, 400);
        let slope = lean.to_radians().tan();
        let dark =
            |x: usize, y: usize| ((y as f32 - x as f32 * slope) / 20.0).rem_euclid(2.0) < 0.7 && x % 7 < 5;
        let pixels =
            (0..width * height).map(|at| if dark(at % width, at / width) { 20 } else { 230 }).collect();
        Gray { width, height, pixels }
    }

    #[test]
    fn a_lean_is_found_and_taken_out() {
        for lean in [-6.0f32, -2.5, 3.0, 7.5] {
            let picture = stripes(lean);
            assert!((picture.lean() - lean).abs() <= 1.0, "{lean} was read as {}", picture.lean());
            assert!(picture.turned(-picture.lean()).lean().abs() <= 1.0, "{lean}");
        }
        assert_eq!(stripes(0.0).lean(), 0.0);
    }

    #[test]
    fn shadows_go() {
        let mut picture = stripes(0.0);
        let width = picture.width;
        for (at, pixel) in picture.pixels.iter_mut().enumerate() {
            *pixel = (f32::from(*pixel) * (0.3 + 0.7 * (at % width) as f32 / width as f32)) as u8;
        }
        let clean = picture.without_shadows().stretched().black_and_white();
        // The gap between two lines at the dark side is white, and the line is black.
        assert_eq!((clean.pixels[31 * width + 1], clean.pixels[46 * width + 1]), (255, 0));
    }

    #[test]
    fn what_is_no_picture() {
        assert!(matches!(clean(b"\x89PNG\r\n\x1a\nnothing"), Err(Unreadable::Damaged(_))));
    }
}
