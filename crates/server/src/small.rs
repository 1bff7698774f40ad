//! Photos as small as a list shows them: a page with twenty photos of a telephone would else be a hundred megabytes.
//!
//! The photo itself stays as it was kept and opens behind the small one. The small one is coded anew, the right way up and
//! in the colours of the photo.

use std::collections::VecDeque;
use std::io::Cursor;
use std::sync::{Arc, Mutex, PoisonError};

use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder, ImageEncoder, ImageReader, Limits};

/// The longer edge in pixels \[ours\]: a third of a tablet's width on a fine screen.
const EDGE: u32 = 480;
/// Quality of the coding, of 100 \[ours\].
const QUALITY: u8 = 80;
/// How many small ones are kept at hand \[ours\]: a busy day's photos, some megabytes.
const AT_HAND: usize = 200;
/// The largest edge of a photo that is opened \[ours\]: three times that of a telephone.
const LARGEST: u32 = 16_000;
/// The most memory that opening one may take, in bytes \[ours\].
const MEMORY: u64 = 512 << 20;

/// Small photos at hand, by the hash of the photo.
#[derive(Debug, Default)]
pub(crate) struct AtHand(Mutex<VecDeque<(String, Arc<[u8]>)>>);

impl AtHand {
    /// The small one of a photo, where it is at hand.
    pub(crate) fn get(&self, sha256: &str) -> Option<Arc<[u8]>> {
        let list = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        list.iter().find(|(its, _)| its == sha256).map(|(_, small)| Arc::clone(small))
    }

    /// Keeps one at hand; the oldest gives way.
    pub(crate) fn put(&self, sha256: &str, small: &Arc<[u8]>) {
        let mut list = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if list.iter().any(|(its, _)| its == sha256) {
            return;
        }
        if list.len() >= AT_HAND {
            list.pop_front();
        }
        list.push_back((sha256.to_owned(), Arc::clone(small)));
    }
}

/// A photo as a JPEG whose longer edge has at most so many pixels as a list shows.
///
/// # Errors
/// Why the photo cannot be opened: torn, of another kind, or too large.
pub fn small(photo: &[u8]) -> Result<Vec<u8>, String> {
    let mut reader = ImageReader::new(Cursor::new(photo)).with_guessed_format().map_err(|e| e.to_string())?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(LARGEST);
    limits.max_image_height = Some(LARGEST);
    limits.max_alloc = Some(MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|e| e.to_string())?;
    let way_up = decoder.orientation().map_err(|e| e.to_string())?;
    let colours = decoder.icc_profile().unwrap_or_default();
    let photo = DynamicImage::from_decoder(decoder).map_err(|e| e.to_string())?;
    // A photo that is small already is not blown up.
    let mut small = if photo.width().max(photo.height()) > EDGE { photo.thumbnail(EDGE, EDGE) } else { photo };
    small.apply_orientation(way_up);
    let grey = !small.color().has_color();
    let small =
        if grey { DynamicImage::ImageLuma8(small.into_luma8()) } else { DynamicImage::ImageRgb8(small.into_rgb8()) };
    let mut out = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut out, QUALITY);
    if let Some(colours) = colours {
        // Without them it is shown in the usual colours, which is no reason to show none.
        let _told = encoder.set_icc_profile(colours);
    }
    small.write_with_encoder(encoder).map_err(|e| e.to_string())?;
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{ImageFormat, Rgb, RgbImage};

    fn coded(image: &DynamicImage, format: ImageFormat) -> Vec<u8> {
        let mut out = Cursor::new(Vec::new());
        image.write_to(&mut out, format).unwrap();
        out.into_inner()
    }

    /// Twice as wide as high, the left half red and the right half blue.
    fn photo(width: u32) -> DynamicImage {
        let colour = |x: u32, _: u32| if x < width / 2 { Rgb([200, 20, 20]) } else { Rgb([20, 20, 200]) };
        DynamicImage::ImageRgb8(RgbImage::from_fn(width, width / 2, colour))
    }

    #[test]
    fn a_photo_of_any_kind_comes_small_with_its_shape_and_its_colours() {
        for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
            let small = small(&coded(&photo(2400), format)).unwrap();
            let seen = image::load_from_memory(&small).unwrap().into_rgb8();
            assert_eq!((seen.width(), seen.height()), (480, 240), "{format:?}");
            let (left, right) = (seen.get_pixel(100, 120), seen.get_pixel(380, 120));
            assert!(left[0] > 150 && left[2] < 80 && right[2] > 150 && right[0] < 80, "{left:?} {right:?}");
            assert!(small.len() < 20_000, "{} bytes", small.len());
        }
        let as_it_is = small(&coded(&photo(120), ImageFormat::Png)).unwrap();
        assert_eq!(image::load_from_memory(&as_it_is).unwrap().width(), 120, "not blown up");
    }

    #[test]
    fn a_photo_taken_with_the_telephone_upright_stands_upright() {
        // Orientation 6: what lies left in the file stands on top.
        let exif = crate::photos::told_way_up(6);
        let jpeg = coded(&photo(1000), ImageFormat::Jpeg);
        let length = u16::try_from(exif.len() + 2).unwrap().to_be_bytes();
        let told = [&jpeg[..2], &[0xff, 0xe1], &length[..], &exif[..], &jpeg[2..]].concat();
        let seen = image::load_from_memory(&small(&told).unwrap()).unwrap().into_rgb8();
        assert_eq!((seen.width(), seen.height()), (240, 480));
        assert!(seen.get_pixel(120, 60)[0] > 150 && seen.get_pixel(120, 420)[2] > 150);
    }

    #[test]
    fn a_torn_photo_has_a_reason_and_what_is_at_hand_stays_few() {
        let jpeg = coded(&photo(1000), ImageFormat::Jpeg);
        assert!(small(&jpeg[..200]).is_err());
        assert!(small(b"<svg/>").is_err());
        let at_hand = AtHand::default();
        for n in 0..=AT_HAND {
            at_hand.put(&n.to_string(), &Arc::from(vec![1_u8]));
        }
        assert!(at_hand.get("0").is_none() && at_hand.get("1").is_some());
    }
}
