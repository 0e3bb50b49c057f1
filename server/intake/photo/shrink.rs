//! A photo made ready to be kept: upright, of a size that a page can show, and nothing in it but its pixels.
//!
//! What a camera writes beside the pixels (where it stood, when, whose it is) goes because the picture is written anew.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits, RgbImage};
use serde::{Deserialize, Serialize};

/// The longer side of what is kept, in pixels: a scale's ticket in it can still be read.
const SIDE: u32 = 2_000;
/// The longer side of the one in lists.
const SMALL_SIDE: u32 = 320;
const QUALITY: u8 = 82;
const SMALL_QUALITY: u8 = 70;
/// The longest side that is decoded.
const LARGEST_SIDE: u32 = 16_000;
/// What decoding may set aside, in bytes: three for each of some 64 million pixels.
const MOST_MEMORY: u64 = 192 * 1024 * 1024;

/// A photo as it is kept, in JPEG.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shrunk {
    pub bytes: Vec<u8>,
    pub width: u32,
    pub height: u32,
    /// The same, small.
    pub small: Vec<u8>,
}

/// Why a file is not kept as a photo, and what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[serde(rename_all = "kebab-case")]
pub enum NoPhoto {
    #[error("The file is empty. Choose the photo again.")]
    Empty,
    #[error(
        "That is a photo in the HEIC format, which is not read here. Set the phone’s camera to its most compatible \
         format (JPEG), or send a screenshot of the photo."
    )]
    Heic,
    #[error("That is no photo in JPEG, PNG or WebP, whatever its name says. Choose a photo.")]
    OtherKind,
    #[error(
        "The photo has more pixels than this box can take in. Take it at a smaller size, or send a screenshot of it."
    )]
    TooManyPixels,
    #[error("The photo is damaged or was not sent to its end ({0}). Send it once more, or take it again.")]
    Damaged(String),
}

impl From<ImageError> for NoPhoto {
    fn from(error: ImageError) -> NoPhoto {
        match error {
            ImageError::Limits(_) => NoPhoto::TooManyPixels,
            other => NoPhoto::Damaged(crate::document::cut(&other.to_string(), 120).to_string()),
        }
    }
}

/// The photo upright, shrunk and without anything but its pixels.
pub fn shrink(bytes: &[u8]) -> Result<Shrunk, NoPhoto> {
    let (picture, held) = decode(bytes)?;
    // Turned when it is small: turning takes a second copy.
    let mut picture = within(picture, SIDE);
    picture.apply_orientation(held);
    let picture = on_white(picture);
    let (width, height) = picture.dimensions();
    let whole = encode(&picture, QUALITY)?;
    let small = within(DynamicImage::ImageRgb8(picture), SMALL_SIDE).into_rgb8();
    Ok(Shrunk { bytes: whole, width, height, small: encode(&small, SMALL_QUALITY)? })
}

fn decode(bytes: &[u8]) -> Result<(DynamicImage, Orientation), NoPhoto> {
    if bytes.is_empty() {
        return Err(NoPhoto::Empty);
    }
    if is_heic(bytes) {
        return Err(NoPhoto::Heic);
    }
    let mut reader = ImageReader::new(Cursor::new(bytes));
    let mut limits = Limits::default();
    (limits.max_image_width, limits.max_image_height, limits.max_alloc) =
        (Some(LARGEST_SIDE), Some(LARGEST_SIDE), Some(MOST_MEMORY));
    reader.limits(limits);
    let reader = reader.with_guessed_format().map_err(|error| NoPhoto::Damaged(error.to_string()))?;
    // By what it holds: what a file is called says nothing.
    if !matches!(reader.format(), Some(ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP)) {
        return Err(NoPhoto::OtherKind);
    }
    let mut decoder = reader.into_decoder()?;
    // Phones note how they were held instead of turning the picture. Without that note it is taken as it lies.
    let held = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    // The decoders bound what they need themselves, not the pixels that come out.
    if decoder.total_bytes() > MOST_MEMORY {
        return Err(NoPhoto::TooManyPixels);
    }
    Ok((DynamicImage::from_decoder(decoder)?, held))
}

/// The container of High Efficiency Image File Format and its kin (ISO/IEC 14496-12 and 23008-12): a box `ftyp` with one
/// of these brands. The box's length comes first.
fn is_heic(bytes: &[u8]) -> bool {
    const BRANDS: [&[u8; 4]; 9] =
        [b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif"];
    bytes.get(4..8) == Some(b"ftyp")
        && bytes.get(8..12).is_some_and(|brand| BRANDS.iter().any(|known| brand == *known))
}

/// No side longer than `side`; what is smaller stays as it is.
fn within(picture: DynamicImage, side: u32) -> DynamicImage {
    if picture.width().max(picture.height()) <= side { picture } else { picture.thumbnail(side, side) }
}

/// What can be seen through stands on white: JPEG has no such thing.
fn on_white(picture: DynamicImage) -> RgbImage {
    if !picture.color().has_alpha() {
        return picture.into_rgb8();
    }
    let picture = picture.into_rgba8();
    RgbImage::from_fn(picture.width(), picture.height(), |x, y| {
        let [red, green, blue, alpha] = picture.get_pixel(x, y).0.map(u16::from);
        let over = |shade: u16| ((shade * alpha + 255 * (255 - alpha)) / 255) as u8;
        image::Rgb([over(red), over(green), over(blue)])
    })
}

fn encode(picture: &RgbImage, quality: u8) -> Result<Vec<u8>, NoPhoto> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality).encode_image(picture)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture of which one half is white and the other dark, with a long and a short side.
    fn halves(width: u32, height: u32) -> RgbImage {
        RgbImage::from_fn(width, height, |x, _| image::Rgb(if x < width / 2 { [250; 3] } else { [10; 3] }))
    }

    fn as_png(picture: &RgbImage) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
        bytes.into_inner()
    }

    fn shades(bytes: &[u8], places: &[(u32, u32)]) -> Vec<bool> {
        let picture = image::load_from_memory(bytes).unwrap().into_luma8();
        places.iter().map(|(x, y)| picture.get_pixel(*x, *y).0[0] > 128).collect()
    }

    /// A JPEG with what a camera writes beside the pixels: Exif 2.3 (CIPA DC-008) as a TIFF of big byte order, with the
    /// tag 0x0112 for how it was held and 0x8825 for a GPS directory, whose 0x0001 is the half of the earth.
    fn with_exif(picture: &RgbImage, held: u8) -> Vec<u8> {
        let plain = encode(picture, 90).unwrap();
        let mut tiff = b"MM\0*\0\0\0\x08".to_vec();
        tiff.extend([0, 2]);
        tiff.extend([0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, held, 0, 0]);
        tiff.extend([0x88, 0x25, 0, 4, 0, 0, 0, 1, 0, 0, 0, 38]);
        tiff.extend([0, 0, 0, 0]);
        // At 38: one entry, the letter N as ASCII.
        tiff.extend([0, 1, 0x00, 0x01, 0, 2, 0, 0, 0, 2, b'N', 0, 0, 0, 0, 0, 0, 0]);
        tiff.extend(b"GPSLatitudeOfTheGarage");
        let mut bytes = plain[..2].to_vec();
        bytes.extend([0xff, 0xe1]);
        bytes.extend(u16::try_from(tiff.len() + 8).unwrap().to_be_bytes());
        bytes.extend(b"Exif\0\0");
        bytes.extend(&tiff);
        bytes.extend(&plain[2..]);
        bytes
    }

    fn holds(bytes: &[u8], words: &[u8]) -> bool {
        bytes.windows(words.len()).any(|window| window == words)
    }

    #[test]
    fn where_the_camera_stood_goes_and_the_picture_stands_upright() {
        let sideways = with_exif(&halves(80, 40), 6);
        assert!(holds(&sideways, b"Exif") && holds(&sideways, b"GPSLatitude"));
        let kept = shrink(&sideways).unwrap();
        for bytes in [&kept.bytes, &kept.small] {
            assert!(!holds(bytes, b"Exif") && !holds(bytes, b"GPS"));
            // 6: the first row of the file is the right side of the picture, so it is turned clockwise.
            assert_eq!(shades(bytes, &[(20, 10), (20, 70)]), [true, false]);
        }
        assert_eq!((kept.width, kept.height), (40, 80));
        // As the camera was held the usual way.
        assert_eq!(shrink(&with_exif(&halves(80, 40), 1)).unwrap().width, 80);
    }

    #[test]
    fn a_large_photo_is_shrunk_and_a_small_one_is_not_blown_up() {
        let kept = shrink(&as_png(&halves(5000, 1000))).unwrap();
        assert_eq!((kept.width, kept.height), (2000, 400));
        assert_eq!(shades(&kept.bytes, &[(900, 200), (1100, 200)]), [true, false]);
        let small = image::load_from_memory(&kept.small).unwrap();
        assert_eq!((small.width(), small.height()), (320, 64));
        let tiny = shrink(&as_png(&halves(3, 2))).unwrap();
        assert_eq!((tiny.width, tiny.height), (3, 2));
    }

    #[test]
    fn what_can_be_seen_through_stands_on_white() {
        let clear = image::RgbaImage::from_pixel(8, 8, image::Rgba([0, 0, 0, 0]));
        for format in [ImageFormat::Png, ImageFormat::WebP] {
            let mut bytes = Cursor::new(Vec::new());
            clear.write_to(&mut bytes, format).unwrap();
            assert_eq!(shades(&shrink(bytes.get_ref()).unwrap().bytes, &[(4, 4)]), [true]);
        }
    }

    #[test]
    fn what_is_no_photo_says_so() {
        assert_eq!(shrink(b""), Err(NoPhoto::Empty));
        assert_eq!(shrink(b"Item,Price\nNo. 2 copper,3.60\n"), Err(NoPhoto::OtherKind));
        assert_eq!(shrink(b"GIF89a\x01\0\x01\0\0\0\0;"), Err(NoPhoto::OtherKind));
        assert_eq!(shrink(b"\0\0\0\x24ftypheic\0\0\0\0mif1heic"), Err(NoPhoto::Heic));
        assert!(matches!(shrink(b"\xff\xd8\xff\xe0nothing"), Err(NoPhoto::Damaged(_))));
        let whole = encode(&halves(400, 300), 90).unwrap();
        assert!(matches!(shrink(&as_png(&halves(400, 300))[..200]), Err(NoPhoto::Damaged(_))));
        assert!(shrink(&whole).is_ok());
    }

    /// A picture of a few bytes whose header says that it is so large.
    fn claiming(width: u32, height: u32) -> Vec<u8> {
        let honest = as_png(&halves(2, 2));
        let mut bytes = honest[..16].to_vec();
        bytes.extend(width.to_be_bytes());
        bytes.extend(height.to_be_bytes());
        bytes.extend(&honest[24..29]);
        // The header's checksum: CRC-32 over its type and fields, as the PNG specification has it.
        let crc = bytes[12..29].iter().fold(!0u32, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xedb8_8320 * (crc & 1)))
        });
        bytes.extend((!crc).to_be_bytes());
        bytes.extend(&honest[33..]);
        bytes
    }

    #[test]
    fn a_picture_that_unpacks_to_gigabytes_is_refused() {
        // Beyond the longest side, and within it 675 MB of pixels.
        for (width, height) in [(24_000, 30_000), (15_000, 15_000), (u32::MAX >> 1, 1)] {
            assert_eq!(shrink(&claiming(width, height)), Err(NoPhoto::TooManyPixels), "{width} x {height}");
        }
        assert!(shrink(&claiming(2, 2)).is_ok(), "the header as such is good");
    }
}
