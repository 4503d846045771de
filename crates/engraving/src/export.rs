//! PNG and PDF from pages.

use std::collections::BTreeMap;
use std::fmt;

use pdf_writer::{Chunk, Content, Finish, Name, Pdf, Rect, Ref};
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree};

use crate::fonts::fonts;
use crate::page::Page;

/// Most pixels of a picture: 100 million, 400 MB while it is drawn.
const MOST_PIXELS: f64 = 100e6;
/// Points of a PDF to a pixel of a page: 72 against 96 to the inch.
const POINTS: f32 = 0.75;

/// Why a page became no picture.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum ExportError {
    /// The page is no SVG that can be drawn, with the reason.
    NotDrawn(String),
    /// The picture would be too large.
    TooLarge {
        /// Width asked for, in pixels.
        width: u32,
    },
    /// There is no page.
    NoPage,
}

impl fmt::Display for ExportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotDrawn(why) => write!(f, "the page cannot be drawn: {why}"),
            Self::TooLarge { width } => write!(f, "a picture {width} pixels wide would be too large; ask for a smaller one"),
            Self::NoPage => f.write_str("there is no page to write"),
        }
    }
}

impl std::error::Error for ExportError {}

fn tree(page: &Page) -> Result<Tree, ExportError> {
    let options = Options { fontdb: fonts(), font_family: "serif".to_owned(), ..Options::default() };
    Tree::from_str(&page.svg, &options).map_err(|error| ExportError::NotDrawn(error.to_string()))
}

/// A page as PNG on white paper, `width` pixels wide.
///
/// # Errors
/// When the page cannot be drawn, or the picture would be too large.
pub fn png(page: &Page, width: u32) -> Result<Vec<u8>, ExportError> {
    let tree = tree(page)?;
    let size = tree.size();
    #[allow(clippy::cast_precision_loss)] // a width in pixels
    let scale = width as f32 / size.width();
    let height = (size.height() * scale).ceil().max(1.0);
    if width == 0 || f64::from(width) * f64::from(height) > MOST_PIXELS {
        return Err(ExportError::TooLarge { width });
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // bounded just above
    let mut pixels = Pixmap::new(width, height as u32).ok_or(ExportError::TooLarge { width })?;
    pixels.fill(Color::WHITE);
    resvg::render(&tree, Transform::from_scale(scale, scale), &mut pixels.as_mut());
    pixels.encode_png().map_err(|error| ExportError::NotDrawn(error.to_string()))
}

/// Pages as one PDF, with text as text; each page as large as its music.
///
/// # Errors
/// When there is no page, or one cannot be drawn.
pub fn pdf(pages: &[Page]) -> Result<Vec<u8>, ExportError> {
    if pages.is_empty() {
        return Err(ExportError::NoPage);
    }
    let mut next = 1;
    let mut new = || {
        next += 1;
        Ref::new(next - 1)
    };
    let (catalog, tree_of_pages) = (new(), new());
    let places: Vec<(Ref, Ref)> = pages.iter().map(|_| (new(), new())).collect();
    let mut pdf = Pdf::new();
    pdf.catalog(catalog).pages(tree_of_pages);
    pdf.pages(tree_of_pages).count(i32::try_from(pages.len()).unwrap_or(i32::MAX)).kids(places.iter().map(|(page, _)| *page));
    for (page, &(place, drawing)) in pages.iter().zip(&places) {
        let tree = tree(page)?;
        let (chunk, own) = svg2pdf::to_chunk(&tree, svg2pdf::ConversionOptions::default())
            .map_err(|error| ExportError::NotDrawn(error.to_string()))?;
        let mut renumbered: BTreeMap<Ref, Ref> = BTreeMap::new();
        let chunk: Chunk = chunk.renumber(|old| *renumbered.entry(old).or_insert_with(&mut new));
        let object = renumbered.get(&own).copied().ok_or(ExportError::NoPage)?;
        pdf.extend(&chunk);
        let (width, height) = (tree.size().width() * POINTS, tree.size().height() * POINTS);
        let name = Name(b"Music");
        let mut content = Content::new();
        // The drawing is one unit wide and high.
        content.transform([width, 0.0, 0.0, height, 0.0, 0.0]);
        content.x_object(name);
        pdf.stream(drawing, &content.finish());
        let mut entry = pdf.page(place);
        entry.media_box(Rect::new(0.0, 0.0, width, height)).parent(tree_of_pages).contents(drawing);
        entry.resources().x_objects().pair(name, object);
        entry.finish();
    }
    Ok(pdf.finish())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)] // a test may stop at the first surprise
mod tests {
    use super::*;

    fn page(svg: &str) -> Page {
        Page { svg: svg.to_owned(), width: 40.0, height: 20.0 }
    }

    const TEXT: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"40px\" height=\"20px\"><g font-family=\"Times, serif\">\
<text x=\"2\" y=\"16\" font-size=\"16px\">pizz</text></g></svg>";

    #[test]
    fn text_is_not_lost() {
        let dark = |svg: &str| {
            let bytes = png(&page(svg), 80).unwrap();
            let pixels = Pixmap::decode_png(&bytes).unwrap();
            assert_eq!((pixels.width(), pixels.height()), (80, 40));
            pixels.pixels().iter().filter(|pixel| pixel.red() < 128).count()
        };
        assert!(dark(TEXT) > 100);
        assert_eq!(dark(&TEXT.replace("pizz", "")), 0);
        let bytes = pdf(&[page(TEXT), page(TEXT)]).unwrap();
        assert!(bytes.starts_with(b"%PDF-") && bytes.windows(7).any(|window| window == b"/Type0\n"));
        assert_eq!(bytes, pdf(&[page(TEXT), page(TEXT)]).unwrap());
    }

    #[test]
    fn what_cannot_be_drawn_says_so() {
        assert!(matches!(png(&page("<html/>"), 10), Err(ExportError::NotDrawn(_))));
        assert_eq!(png(&page(TEXT), 0), Err(ExportError::TooLarge { width: 0 }));
        assert_eq!(png(&page(TEXT), 4_000_000_000), Err(ExportError::TooLarge { width: 4_000_000_000 }));
        assert_eq!(pdf(&[]), Err(ExportError::NoPage));
    }
}
