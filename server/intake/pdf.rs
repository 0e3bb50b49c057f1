//! PDF with text: glyphs with their places, to words and lines.
//!
//! A PDF knows no lines or tables, only glyphs that are drawn somewhere in any order. Here they are collected page by
//! page, put on lines by their height, and joined to words by the gaps between them; `layout` makes columns of the lines.
//! The server reads PDFs in a child process with bounds of its own.

use std::sync::Arc;

use hayro_interpret::font::{Glyph, GlyphRun};
use hayro_interpret::hayro_cmap::BfString;
use hayro_interpret::hayro_syntax::{DecryptionError, LoadPdfError, Pdf};
use hayro_interpret::kurbo::{Affine, BezPath, Point, Rect, Vec2};
use hayro_interpret::{
    BlendMode, ClipPath, Context, Device, DrawMode, DrawProps, Image, ImageDrawProps, InterpreterCache,
    InterpreterSettings, SoftMask, TransformExt, interpret_page,
};

use crate::decode;
use crate::document::{MOST_CHARACTERS, MOST_ROWS, MOST_TEXT, cut};
use crate::format::Unreadable;
use crate::layout::{Piece, Row};
use crate::price;
use crate::sheet::{Place, Problem};

/// Pages that are read; a price sheet has a few.
const MOST_PAGES: usize = 60;
const MOST_GLYPHS: usize = 400_000;

/// A gap wider than this share of the type's size parts two words, and a wider one two columns.
const WORD_GAP: f32 = 0.17;
const COLUMN_GAP: f32 = 0.9;

/// The rows of each page.
#[derive(Debug)]
pub(crate) struct Pages {
    pub pages: Vec<Vec<Row>>,
    pub problems: Vec<Problem>,
}

pub(crate) fn parse(bytes: &[u8]) -> Result<Pages, Unreadable> {
    let pdf = Pdf::new(bytes.to_vec()).map_err(|error| match error {
        LoadPdfError::Decryption(DecryptionError::PasswordProtected) => Unreadable::Encrypted,
        LoadPdfError::Decryption(_) => Unreadable::Damaged("its encryption is not one that is known".into()),
        LoadPdfError::Invalid => Unreadable::Damaged("it is no PDF that can be taken apart".into()),
    })?;
    let mut read = Pages { pages: Vec::new(), problems: Vec::new() };
    let cache = InterpreterCache::new();
    let mut left = MOST_GLYPHS;
    let mut rows_left = MOST_ROWS as usize;
    for (number, page) in (1u32..).zip(pdf.pages().iter().take(MOST_PAGES)) {
        let start = page.initial_transform(true).to_kurbo();
        let (width, height) = page.render_dimensions();
        let settings =
            InterpreterSettings { warning_sink: Arc::new(|_| {}), ..InterpreterSettings::default() };
        let bounds = Rect::new(0.0, 0.0, f64::from(width), f64::from(height));
        let mut context = Context::new(start, bounds, &cache, pdf.xref(), settings);
        let mut collector = Collector { glyphs: Vec::new(), left, unknown: 0 };
        interpret_page(page, &mut context, &mut collector);
        left = collector.left;
        if collector.unknown * 4 > collector.glyphs.len() && collector.unknown > 20 {
            read.problems.push(Problem::Undecoded);
        }
        let mut rows = rows(collector.glyphs, number);
        if rows.len() > rows_left {
            rows.truncate(rows_left);
            read.problems.push(Problem::RowsCut { read: MOST_ROWS });
        }
        rows_left -= rows.len();
        read.pages.push(rows);
    }
    read.problems.dedup();
    let text: usize =
        read.pages.iter().flatten().flat_map(|row| &row.pieces).map(|piece| piece.text.len()).sum();
    if text > MOST_TEXT {
        return Err(Unreadable::TooManyCells);
    }
    if text == 0 {
        return Err(Unreadable::NotASheet {
            looks_like: "a PDF without text, likely a scan".into(),
            instead: "Upload a picture of the page, or type or paste the prices that it shows.".into(),
        });
    }
    Ok(read)
}

/// A glyph as it stands on the page; y grows downwards.
#[derive(Debug, Clone)]
struct Placed {
    text: String,
    left: f32,
    right: f32,
    base: f32,
    size: f32,
}

struct Collector {
    glyphs: Vec<Placed>,
    left: usize,
    unknown: usize,
}

impl<'a> Device<'a> for Collector {
    fn draw_glyph_run(&mut self, run: &GlyphRun<'_, 'a>, props: DrawProps<'a>, _: &DrawMode) {
        for glyph in run.glyphs() {
            if self.left == 0 {
                return;
            }
            self.left -= 1;
            let transform: Affine = props.transform * glyph.transform();
            let text = match glyph.as_unicode() {
                Some(BfString::Char(c)) => c.to_string(),
                Some(BfString::String(text)) => text,
                None => {
                    self.unknown += 1;
                    continue;
                }
            };
            let advance = match &**glyph {
                Glyph::Outline(outline) => outline.advance_width(),
                Glyph::Type3(drawn) => drawn.advance_width(),
            };
            let origin = transform * Point::ZERO;
            // An em is a thousand units of a glyph's own space.
            let along = transform * Point::new(1000.0, 0.0) - origin;
            let up = transform * Point::new(0.0, 1000.0) - origin;
            // Text that stands upright, as along an edge, is no line of the list.
            if along.y.abs() > along.x.abs() * 0.2 || along.x <= 0.0 {
                continue;
            }
            let size = length(up).max(0.1);
            let width = advance
                .filter(|width| width.is_finite())
                .map_or(size * 0.5, |width| f64::from(width) / 1000.0 * length(along));
            let numbers = [origin.x, origin.y, width, size];
            if numbers.iter().all(|number| number.is_finite() && number.abs() < 1e6) {
                self.glyphs.push(Placed {
                    text: decode::tidy(&text),
                    left: origin.x as f32,
                    right: (origin.x + width) as f32,
                    base: origin.y as f32,
                    size: size as f32,
                });
            }
        }
    }

    fn draw_path(&mut self, _: &BezPath, _: DrawProps<'a>, _: &DrawMode) {}
    fn push_clip_path(&mut self, _: &ClipPath) {}
    fn push_transparency_group(&mut self, _: f32, _: Option<SoftMask<'a>>, _: BlendMode) {}
    fn draw_image(&mut self, _: Image<'a, '_>, _: ImageDrawProps<'a>) {}
    fn pop_clip(&mut self) {}
    fn pop_transparency_group(&mut self) {}
}

fn length(vector: Vec2) -> f64 {
    vector.hypot()
}

/// Glyphs of about one height make a row, from the top of the page down.
fn rows(mut glyphs: Vec<Placed>, page: u32) -> Vec<Row> {
    glyphs.retain(|glyph| !glyph.text.is_empty());
    glyphs.sort_by(|a, b| a.base.total_cmp(&b.base).then(a.left.total_cmp(&b.left)));
    let mut lines: Vec<Vec<Placed>> = Vec::new();
    let mut base = f32::MIN;
    for glyph in glyphs {
        // A raised or lowered mark stays with its line.
        let near = (glyph.base - base).abs() <= glyph.size * 0.35;
        match lines.last_mut().filter(|_| near) {
            Some(line) => line.push(glyph),
            None => {
                base = glyph.base;
                lines.push(vec![glyph]);
            }
        }
    }
    let heights: Vec<(f32, f32)> =
        lines.iter().map(|line| line.first().map_or((0.0, 0.0), |g| (g.base, g.size))).collect();
    let rows = (1u32..)
        .zip(lines)
        .map(|(line, glyphs)| Row { place: Place::Page { page, line }, pieces: pieces(glyphs) });
    unwrapped(rows.zip(heights).filter(|(row, _)| !row.pieces.is_empty()).collect())
}

/// Joins names that go on in the lines below their price: a single piece below the name, closer to it than the next
/// row is to that piece.
fn unwrapped(rows: Vec<(Row, (f32, f32))>) -> Vec<Row> {
    let mut whole: Vec<Row> = Vec::new();
    let mut cell: Option<f32> = None;
    for at in 0..rows.len() {
        let (row, (base, size)) = &rows[at];
        let above = at.checked_sub(1).map_or(f32::MAX, |i| base - rows[i].1.0);
        // The next row with a price, or the end of the page.
        let below = rows[at + 1..]
            .iter()
            .find(|(next, _)| next.pieces.len() > 1)
            .map_or(f32::MAX, |(_, (next, _))| next - base);
        let tight = above < size * 1.4;
        let further =
            rows.get(at + 1).map_or(
                f32::MAX,
                |(next, (height, _))| if next.pieces.len() > 1 { height - base } else { below },
            );
        let goes_on = cell.is_some_and(|left| {
            row.pieces.len() == 1
                && is_of_a_name(&row.pieces[0].text)
                && tight
                && (row.pieces[0].left - left).abs() < size * 0.3
        }) && further > above * 1.25;
        match whole.last_mut().filter(|_| goes_on) {
            Some(last) => {
                if let Some(first) = last.pieces.first_mut() {
                    first.text.push(' ');
                    first.text.push_str(&row.pieces[0].text);
                }
            }
            None => {
                cell = (row.pieces.len() > 1).then(|| row.pieces[0].left);
                whole.push(row.clone());
            }
        }
    }
    whole
}

/// Whether a line may be the rest of a name: no rule, and nothing with a price of its own, as typed lists have it behind dots.
fn is_of_a_name(text: &str) -> bool {
    text.contains(char::is_alphabetic) && !text.contains("....") && !price::is_told(text)
}

/// The words of a line, joined where only a blank parts them.
fn pieces(mut glyphs: Vec<Placed>) -> Vec<Piece> {
    glyphs.sort_by(|a, b| a.left.total_cmp(&b.left));
    let mut pieces: Vec<Piece> = Vec::new();
    let mut blank = false;
    let mut last_left = f32::MIN;
    for glyph in glyphs {
        if glyph.text.chars().all(char::is_whitespace) {
            blank = true;
            continue;
        }
        let gap = pieces.last().map_or(f32::MAX, |piece| glyph.left - piece.right);
        // A letter drawn twice, a little aside, is a bold one.
        if let Some(piece) = pieces.last()
            && piece.text.ends_with(&glyph.text)
            && (glyph.left - last_left).abs() < glyph.size * 0.12
        {
            continue;
        }
        last_left = glyph.left;
        match pieces.last_mut() {
            Some(piece) if gap <= glyph.size * COLUMN_GAP => {
                if blank || gap > glyph.size * WORD_GAP {
                    piece.text.push(' ');
                }
                if piece.text.len() < MOST_CHARACTERS {
                    piece.text.push_str(&glyph.text);
                }
                piece.right = piece.right.max(glyph.right);
            }
            _ => pieces.push(Piece { text: glyph.text, left: glyph.left, right: glyph.right }),
        }
        blank = false;
    }
    for piece in &mut pieces {
        piece.text = cut(piece.text.trim(), MOST_CHARACTERS).to_string();
    }
    pieces.retain(|piece| !piece.text.is_empty());
    pieces
}
