//! Pictures as they come from telephones, and as they are kept.
//!
//! What is kept is decoded and written anew: upright, no larger than a page shows, and without anything
//! else that was in the file, such as where and when it was taken. What may not enter: whose it is.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};

/// Most bytes of a picture as it comes.
pub const PICTURE_LIMIT: usize = 16 * 1024 * 1024;
/// Longest side of a picture as it is kept, in pixels.
pub const LONGEST_SIDE: u32 = 1600;
/// Longest side of a picture as it comes, in pixels.
const LONGEST_TAKEN: u32 = 16_000;
/// Most memory for one picture while it is read, in bytes: 50 million pixels of three bytes, twice.
const MOST_MEMORY: u64 = 300 * 1024 * 1024;
/// Of 100; where spots on skin can still be told from the way it is stored.
const QUALITY: u8 = 82;

/// A picture as it is kept: a JPEG.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// The file.
    pub jpeg: Vec<u8>,
    /// In pixels.
    pub width: u32,
    /// In pixels.
    pub height: u32,
}

/// Why a file is no picture for us.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PictureError {
    /// Another kind of file.
    #[error("only JPEG and PNG pictures are taken")]
    OtherKind,
    /// It begins like a picture and ends otherwise.
    #[error("the picture is damaged")]
    Damaged,
    /// Larger than can be read here.
    #[error("the picture has more pixels than can be read here: make it smaller first")]
    TooManyPixels,
    /// It could not be written.
    #[error("the picture could not be written: {0}")]
    Unwritten(String),
}

/// Reads a picture and writes it as it is kept.
///
/// ```
/// use spareloop_server::pictures::{PictureError, as_kept};
/// assert_eq!(as_kept(b"%PDF-1.7"), Err(PictureError::OtherKind));
/// ```
pub fn as_kept(file: &[u8]) -> Result<Picture, PictureError> {
    let upright = read(file)?;
    let fits = upright.width().max(upright.height()) <= LONGEST_SIDE;
    let shown = if fits { upright } else { upright.thumbnail(LONGEST_SIDE, LONGEST_SIDE) };
    // A JPEG has no transparency.
    let shown = DynamicImage::ImageRgb8(shown.into_rgb8());
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
        .encode_image(&shown)
        .map_err(|error| PictureError::Unwritten(error.to_string()))?;
    Ok(Picture { jpeg, width: shown.width(), height: shown.height() })
}

/// Reads a picture and turns it as its camera was held.
fn read(file: &[u8]) -> Result<DynamicImage, PictureError> {
    let mut reader = ImageReader::new(Cursor::new(file))
        .with_guessed_format()
        .map_err(|_| PictureError::Damaged)?;
    match reader.format() {
        Some(ImageFormat::Jpeg | ImageFormat::Png) => {}
        _ => return Err(PictureError::OtherKind),
    }
    let mut limits = Limits::default();
    limits.max_image_width = Some(LONGEST_TAKEN);
    limits.max_image_height = Some(LONGEST_TAKEN);
    limits.max_alloc = Some(MOST_MEMORY);
    reader.limits(limits.clone());
    let mut decoder = reader.into_decoder().map_err(|error| told(&error))?;
    // Before a pixel is read: what the header claims must fit.
    if decoder.total_bytes() > MOST_MEMORY / 2 {
        return Err(PictureError::TooManyPixels);
    }
    decoder.set_limits(limits).map_err(|error| told(&error))?;
    let orientation = decoder.orientation().map_err(|error| told(&error))?;
    let mut picture = DynamicImage::from_decoder(decoder).map_err(|error| told(&error))?;
    picture.apply_orientation(orientation);
    Ok(picture)
}

fn told(error: &ImageError) -> PictureError {
    match error {
        ImageError::Limits(_) => PictureError::TooManyPixels,
        _ => PictureError::Damaged,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use image::{Rgb, RgbImage};

    /// A JPEG that is dark on its left half and bright on its right.
    fn halves(width: u32, height: u32) -> Vec<u8> {
        let picture = RgbImage::from_fn(width, height, |x, _| {
            if x < width / 2 { Rgb([20, 20, 20]) } else { Rgb([230, 230, 230]) }
        });
        let mut file = Vec::new();
        JpegEncoder::new(&mut file).encode_image(&picture).unwrap();
        file
    }

    /// Puts what a camera writes before the picture: the tag for orientation (0x0112) and, as its maker's
    /// note would, a text. After "Exif Version 2.3" (CIPA DC-008), section 4.6; APP1 is marker FF E1.
    fn with_camera_data(file: &[u8], orientation: u8, note: &[u8]) -> Vec<u8> {
        let mut tiff = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
        tiff.extend([orientation, 0, 0, 0, 0, 0, 0]);
        tiff.extend(note);
        let mut made = file[..2].to_vec();
        made.extend([0xff, 0xe1]);
        made.extend(u16::try_from(tiff.len() + 2).unwrap().to_be_bytes());
        made.extend(tiff);
        made.extend(&file[2..]);
        made
    }

    fn says(file: &[u8], text: &[u8]) -> bool {
        file.windows(text.len()).any(|window| window == text)
    }

    #[test]
    fn where_and_when_a_picture_was_taken_is_not_kept() {
        let note = b"N 52.4137 W 4.0812 2027:02:01";
        let taken = with_camera_data(&halves(64, 32), 1, note);
        assert!(says(&taken, note) && says(&taken, b"Exif"));
        let kept = as_kept(&taken).unwrap();
        assert!(!says(&kept.jpeg, note) && !says(&kept.jpeg, b"Exif"));
        assert_eq!((kept.width, kept.height), (64, 32));
    }

    #[test]
    fn a_picture_taken_with_the_camera_on_its_side_is_kept_upright() {
        // Orientation 6: the first row is the right-hand side, so it is turned clockwise.
        let taken = with_camera_data(&halves(64, 32), 6, b"");
        let kept = as_kept(&taken).unwrap();
        assert_eq!((kept.width, kept.height), (32, 64));
        let shown = image::load_from_memory(&kept.jpeg).unwrap().into_rgb8();
        let (top, bottom) = (shown.get_pixel(16, 4).0[0], shown.get_pixel(16, 60).0[0]);
        assert!(top < 60 && bottom > 190, "what was left is on top: {top} {bottom}");
    }

    #[test]
    fn a_large_picture_is_kept_no_larger_than_a_page_shows() {
        let kept = as_kept(&halves(3200, 1000)).unwrap();
        assert_eq!((kept.width, kept.height), (1600, 500));
    }

    #[test]
    fn what_is_cut_off_or_no_picture_is_refused() {
        let file = halves(64, 32);
        for length in [3, 20, 200] {
            assert!(as_kept(&file[..length]).is_err(), "{length}");
        }
        for other in [&b""[..], b"GIF89a", b"<svg/>", b"RIFF1234WEBP"] {
            assert_eq!(as_kept(other), Err(PictureError::OtherKind));
        }
    }

    /// A PNG header (RFC 2083, 4.1.1) that claims 60 000 by 60 000 pixels.
    #[test]
    fn a_small_file_that_claims_a_huge_picture_is_refused_before_it_is_read() {
        let mut file = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
        file.extend(60_000_u32.to_be_bytes());
        file.extend(60_000_u32.to_be_bytes());
        file.extend([8, 2, 0, 0, 0]);
        let sum = crc32(&file[12..]);
        file.extend(sum.to_be_bytes());
        file.extend(b"\0\0\0\0IDAT");
        assert_eq!(as_kept(&file), Err(PictureError::TooManyPixels));
    }

    /// As RFC 2083, appendix 15 has it.
    fn crc32(bytes: &[u8]) -> u32 {
        !bytes.iter().fold(u32::MAX, |sum, byte| {
            (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
                if sum & 1 == 1 { 0xedb8_8320 ^ (sum >> 1) } else { sum >> 1 }
            })
        })
    }
}
