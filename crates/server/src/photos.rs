//! What a photo says besides its picture is taken off before it is kept: place, device, time, owner.
//!
//! The picture itself stays byte for byte as the camera coded it. Kept are what the picture is shown by: colour profile,
//! and which way up it is.

use img_parts::jpeg::{Jpeg, JpegSegment};
use img_parts::png::{Png, PngChunk};
use img_parts::webp::WebP;
use img_parts::{Bytes, ImageEXIF};

/// What an Exif block begins with inside a JPEG.
const EXIF_DATA_PREFIX: &[u8] = b"Exif\0\0";

/// The kinds of picture that are taken, and how they begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Picture {
    Jpeg,
    Png,
    WebP,
}

impl Picture {
    /// The kind of some bytes.
    pub(crate) fn of(bytes: &[u8]) -> Option<Picture> {
        let begins = |with: &[u8]| bytes.starts_with(with);
        if begins(b"\x89PNG\r\n\x1a\n") {
            Some(Picture::Png)
        } else if begins(&[0xff, 0xd8, 0xff]) {
            Some(Picture::Jpeg)
        } else if begins(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
            Some(Picture::WebP)
        } else {
            None
        }
    }

    /// Its media type.
    pub(crate) const fn media_type(self) -> &'static str {
        match self {
            Picture::Jpeg => "image/jpeg",
            Picture::Png => "image/png",
            Picture::WebP => "image/webp",
        }
    }
}

/// Gives what is kept of a photo that somebody sends: its media type, and the picture with nothing else in it.
///
/// # Errors
/// Why it is no photo that is taken, or cannot be read.
pub fn kept_of(photo: Vec<u8>) -> Result<(&'static str, Vec<u8>), String> {
    let kind = Picture::of(&photo).ok_or("this is no photo we take; send it as JPEG, PNG or WebP")?;
    Ok((kind.media_type(), alone(kind, Bytes::from(photo))?))
}

/// The picture alone, or why it cannot be read.
pub(crate) fn alone(kind: Picture, photo: Bytes) -> Result<Vec<u8>, String> {
    let bytes = match kind {
        Picture::Jpeg => jpeg(photo),
        Picture::Png => png(photo),
        Picture::WebP => webp(photo),
    };
    bytes.map(Vec::from).map_err(|e| e.to_string())
}

/// Segments that show a picture: its frame, tables and scans, and what the colours mean.
fn shows(segment: &JpegSegment) -> bool {
    let says = |start: &[u8]| segment.contents().starts_with(start);
    match segment.marker() {
        0xe0 => says(b"JFIF\0"),
        0xe2 => says(b"ICC_PROFILE\0"),
        0xee => says(b"Adobe"),
        0xe1..=0xef | 0xfe => false,
        _ => true,
    }
}

fn jpeg(photo: Bytes) -> Result<Bytes, img_parts::Error> {
    let mut jpeg = Jpeg::from_bytes(photo.clone())?;
    let way_up = jpeg.exif().and_then(|exif| way_up(&exif));
    let segments = jpeg.segments_mut();
    segments.retain(shows);
    // What follows the header of the first scan is the rest of the file. Behind the picture some cameras append others, each
    // with all of it once more.
    if let Some(scan) = segments.pop() {
        let rest = photo.len().saturating_sub(scan.len_with_entropy() - scan.len());
        let rest = photo.slice(rest..);
        let coded = rest.slice(..end_of_picture(&rest));
        segments.push(JpegSegment::new_with_entropy(scan.marker(), scan.contents().clone(), coded));
    }
    if let Some(way_up) = way_up {
        let mut contents = EXIF_DATA_PREFIX.to_vec();
        contents.extend_from_slice(&exif_of(way_up));
        // After the first segment, which tells what the file is.
        let at = usize::from(segments.first().is_some_and(|s| s.marker() == 0xe0));
        segments.insert(at, JpegSegment::new_with_contents(0xe1, Bytes::from(contents)));
    }
    Ok(jpeg.encoder().bytes())
}

/// Where a picture ends in what follows its first scan header: behind the end mark that is no part of another segment.
fn end_of_picture(scans: &[u8]) -> usize {
    let mut at = 0;
    while let Some(found) = scans.get(at..).and_then(|rest| rest.iter().position(|b| *b == 0xff)) {
        let mark = at + found;
        match scans.get(mark + 1) {
            None => break,
            Some(0xd9) => return mark + 2,
            Some(0xff) => at = mark + 1,
            // A coded byte, a restart, or a mark without a length.
            Some(0x00 | 0x01 | 0xd0..=0xd8) => at = mark + 2,
            Some(_) => {
                let length = scans.get(mark + 2..mark + 4).and_then(|b| <[u8; 2]>::try_from(b).ok());
                at = mark + 2 + length.map_or(2, |b| usize::from(u16::from_be_bytes(b)));
            }
        }
    }
    scans.len()
}

fn png(photo: Bytes) -> Result<Bytes, img_parts::Error> {
    let mut png = Png::from_bytes(photo)?;
    let way_up = png.exif().and_then(|exif| way_up(&exif));
    let kept: [&[u8; 4]; 15] = [
        b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"bKGD", b"pHYs",
        b"acTL", b"fcTL", b"fdAT",
    ];
    png.chunks_mut().retain(|chunk: &PngChunk| kept.iter().any(|kind| **kind == chunk.kind()));
    png.set_exif(way_up.map(|way_up| Bytes::from(exif_of(way_up).to_vec())));
    Ok(png.encoder().bytes())
}

fn webp(photo: Bytes) -> Result<Bytes, img_parts::Error> {
    let mut webp = WebP::from_bytes(photo)?;
    let way_up = webp.exif().and_then(|exif| way_up(&exif));
    let kept: [&[u8; 4]; 7] = [b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF", b"ICCP"];
    webp.chunks_mut().retain(|chunk| kept.iter().any(|kind| **kind == chunk.id()));
    webp.set_exif(way_up.map(|way_up| Bytes::from(exif_of(way_up).to_vec())));
    Ok(webp.encoder().bytes())
}

/// Which way up a picture is, where that is not how it lies: the tag `Orientation` of Exif, 2 to 8.
fn way_up(exif: &[u8]) -> Option<u8> {
    let exif = exif.strip_prefix(EXIF_DATA_PREFIX).unwrap_or(exif);
    let big = match exif.get(..4)? {
        b"MM\0*" => true,
        b"II*\0" => false,
        _ => return None,
    };
    let short = |at: usize| {
        let two: [u8; 2] = exif.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if big { u16::from_be_bytes(two) } else { u16::from_le_bytes(two) })
    };
    let long = |at: usize| {
        let four: [u8; 4] = exif.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if big { u32::from_be_bytes(four) } else { u32::from_le_bytes(four) })
    };
    let first = usize::try_from(long(4)?).ok()?;
    let entries = usize::from(short(first)?);
    let entry = |n: usize| first.checked_add(2 + 12 * n);
    let at = (0..entries).filter_map(entry).find(|at| short(*at) == Some(0x0112))?;
    u8::try_from(short(at.checked_add(8)?)?).ok().filter(|way| (2..=8).contains(way))
}

/// An Exif block that says which way up a picture is, and nothing else.
const fn exif_of(way_up: u8) -> [u8; 26] {
    [
        b'M', b'M', 0, b'*', 0, 0, 0, 8, // big-endian, the first directory follows
        0, 1, // one entry
        0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, way_up, 0, 0, // Orientation, one short
        0, 0, 0, 0, // no other directory
    ]
}

/// The Exif segment of a JPEG that says which way up it is, for tests of what reads it.
#[cfg(test)]
pub(crate) fn told_way_up(way_up: u8) -> Vec<u8> {
    [EXIF_DATA_PREFIX, &exif_of(way_up)].concat()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An Exif block as a telephone writes it: way up, maker and a pointer to a place, little-endian.
    fn telling(way_up: u8) -> Vec<u8> {
        let mut exif = b"II*\0\x08\0\0\0\x03\0".to_vec();
        exif.extend([0x0f, 0x01, 2, 0, 12, 0, 0, 0, 50, 0, 0, 0]);
        exif.extend([0x12, 0x01, 3, 0, 1, 0, 0, 0, way_up, 0, 0, 0]);
        exif.extend([0x25, 0x88, 4, 0, 1, 0, 0, 0, 62, 0, 0, 0]);
        exif.extend([0, 0, 0, 0]);
        exif.extend(b"Ostrand Pho\0GPSPLACE52N");
        exif
    }

    fn segment(marker: u8, contents: &[u8]) -> Vec<u8> {
        let length = u16::try_from(contents.len() + 2).unwrap().to_be_bytes();
        [&[0xff, marker], &length[..], contents].concat()
    }

    /// A JPEG of one scan whose coded bytes hold a stuffed 0xff, a restart and a table with an end mark inside.
    fn made(way_up: u8) -> (Vec<u8>, Vec<u8>) {
        let table = segment(0xc4, &[0, 0xff, 0xd9, 7]);
        let coded =
            [&[1, 2, 0xff, 0x00, 3, 0xff, 0xd0, 4][..], &table, &segment(0xda, &[1, 1]), &[5, 0xff, 0xd9]].concat();
        let picture = [segment(0xdb, &[9; 8]), segment(0xc0, &[8, 0, 1, 0, 1, 1]), segment(0xda, &[1, 0])].concat();
        let exif = [b"Exif\0\0".to_vec(), telling(way_up)].concat();
        let jpeg = [
            vec![0xff, 0xd8],
            segment(0xe0, b"JFIF\0\x01\x02"),
            segment(0xe1, &exif),
            segment(0xe1, b"http://ns.adobe.com/xap/1.0/\0<GPSPLACE/>"),
            segment(0xed, b"Photoshop 3.0\0GPSPLACE"),
            segment(0xe2, b"ICC_PROFILE\0\x01\x01colours"),
            segment(0xfe, b"taken at GPSPLACE"),
            picture.clone(),
            coded.clone(),
            b"\xff\xd8\xff\xe1 another picture with GPSPLACE".to_vec(),
        ];
        (jpeg.concat(), [picture, coded].concat())
    }

    fn holds(bytes: &[u8], part: &[u8]) -> bool {
        bytes.windows(part.len()).any(|w| w == part)
    }

    #[test]
    fn a_jpeg_keeps_its_picture_and_its_way_up_and_tells_nothing_else() {
        let (photo, picture) = made(6);
        let bare = alone(Picture::of(&photo).unwrap(), Bytes::from(photo)).unwrap();
        assert!(!holds(&bare, b"GPSPLACE") && !holds(&bare, b"Ostrand"), "{bare:?}");
        assert!(bare.ends_with(&picture), "the picture is as it was coded");
        assert!(holds(&bare, b"ICC_PROFILE\0\x01\x01colours"));
        assert_eq!(way_up(&Jpeg::from_bytes(Bytes::from(bare.clone())).unwrap().exif().unwrap()), Some(6));
        assert_eq!(alone(Picture::Jpeg, Bytes::from(bare.clone())).unwrap(), bare, "nothing is left to take off");
        let (upright, _) = made(1);
        let bare = alone(Picture::Jpeg, Bytes::from(upright)).unwrap();
        assert!(!holds(&bare, b"Exif"), "a picture that lies as it is needs no word about it");
    }

    #[test]
    fn a_png_keeps_its_picture_and_its_way_up_and_tells_nothing_else() {
        let chunk =
            |kind: &[u8; 4], contents: &[u8]| PngChunk::new(*kind, Bytes::copy_from_slice(contents)).encoder().bytes();
        let photo = [
            Bytes::from_static(b"\x89PNG\r\n\x1a\n"),
            chunk(b"IHDR", &[0, 0, 0, 1, 0, 0, 0, 1, 8, 0, 0, 0, 0]),
            chunk(b"eXIf", &telling(8)),
            chunk(b"tIME", &[7, 234, 2, 24, 8, 0, 0]),
            chunk(b"iTXt", b"Location\0GPSPLACE"),
            chunk(b"IDAT", &[120, 156, 99, 0, 0, 0, 2, 0, 1]),
            chunk(b"IEND", &[]),
            Bytes::from_static(b"behind it GPSPLACE"),
        ];
        let photo = photo.concat();
        let bare = alone(Picture::of(&photo).unwrap(), Bytes::from(photo)).unwrap();
        assert!(!holds(&bare, b"GPSPLACE") && !holds(&bare, b"tIME") && !holds(&bare, b"Ostrand"), "{bare:?}");
        assert!(holds(&bare, &chunk(b"IDAT", &[120, 156, 99, 0, 0, 0, 2, 0, 1])));
        assert_eq!(way_up(&Png::from_bytes(Bytes::from(bare)).unwrap().exif().unwrap()), Some(8));
    }

    #[test]
    fn a_torn_picture_is_refused_with_a_reason() {
        let (photo, _) = made(3);
        assert!(alone(Picture::Jpeg, Bytes::copy_from_slice(&photo[..40])).is_err());
        assert_eq!(Picture::of(b"GIF89a"), None);
        assert_eq!(way_up(b"II*\0\xff\xff\xff\xff"), None, "a pointer that leads nowhere is no way up");
    }
}
