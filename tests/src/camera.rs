//! Photos as a camera writes them: with the place, the device and a note in the file.

use jpeg_encoder::{ColorType, Encoder};

/// Words that must never be found in what is kept: device, note, XMP.
pub const SECRETS: [&str; 3] = ["Invented Camera 7", "Ada Example, by the garden door", "photo:Secret"];

/// The latitude in the file: 47° 36' 35", as three fractions (CIPA DC-008, 4.6.6, tag `GPSLatitude`).
pub const LATITUDE: [u8; 24] = [0, 0, 0, 47, 0, 0, 0, 1, 0, 0, 0, 36, 0, 0, 0, 1, 0, 0, 0, 35, 0, 0, 0, 1];

/// A picture of this many pixels: stripes, so that scaling has something to keep.
pub fn pixels(width: u16, height: u16) -> Vec<u8> {
    let at = |x: u32, y: u32| {
        let grain = x.wrapping_mul(7_919) ^ y.wrapping_mul(104_729);
        [x / 9, y / 7, (x + y) / 5].map(|it| ((it % 180) + (grain % 67)) as u8)
    };
    (0..u32::from(height)).flat_map(|y| (0..u32::from(width)).flat_map(move |x| at(x, y))).collect()
}

/// A plain JPEG file. Writing into memory does not fail.
pub fn jpeg(width: u16, height: u16, progressive: bool) -> Vec<u8> {
    encoded(width, height, progressive, Vec::new())
}

/// The same as a camera writes it: Exif with a place, XMP, and a comment.
pub fn talkative(width: u16, height: u16) -> Vec<u8> {
    let xmp = format!("http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>{}</x:xmpmeta>", SECRETS[2]);
    let segments = [(1, exif()), (1, xmp.into_bytes())];
    let file = encoded(width, height, false, segments.into());
    let comment = SECRETS[1].as_bytes();
    let mut with = vec![0xff, 0xd8, 0xff, 0xfe];
    with.extend((comment.len() as u16 + 2).to_be_bytes());
    with.extend(comment);
    with.extend(&file[2..]);
    with
}

fn encoded(width: u16, height: u16, progressive: bool, segments: Vec<(u8, Vec<u8>)>) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = Encoder::new(&mut file, 85);
    encoder.set_progressive(progressive);
    for (number, segment) in segments {
        encoder.add_app_segment(number, segment).unwrap_or_else(|error| panic!("segment: {error}"));
    }
    let encoded = encoder.encode(&pixels(width, height), width, height, ColorType::Rgb);
    encoded.unwrap_or_else(|error| panic!("JPEG: {error}"));
    file
}

/// CIPA DC-008, 4.5: the marker's own header, a TIFF header, the device in the first directory, the place in its own.
fn exif() -> Vec<u8> {
    let model = format!("{}\0", SECRETS[0]);
    let mut tiff = b"MM\0\x2a\0\0\0\x08".to_vec();
    let (entries, first) = (2_u16, 8_u32);
    let after_first = first + 2 + u32::from(entries) * 12 + 4;
    let place = after_first + model.len() as u32;
    tiff.extend(entries.to_be_bytes());
    tiff.extend(entry(0x0110, 2, model.len() as u32, after_first));
    tiff.extend(entry(0x8825, 4, 1, place));
    tiff.extend([0; 4]);
    tiff.extend(model.as_bytes());
    tiff.extend(2_u16.to_be_bytes());
    tiff.extend(entry(1, 2, 2, u32::from_be_bytes(*b"N\0\0\0")));
    tiff.extend(entry(2, 5, 3, place + 2 + 2 * 12 + 4));
    tiff.extend([0; 4]);
    tiff.extend(LATITUDE);
    [b"Exif\0\0".as_slice(), &tiff].concat()
}

fn entry(tag: u16, kind: u16, count: u32, value: u32) -> Vec<u8> {
    [&tag.to_be_bytes()[..], &kind.to_be_bytes(), &count.to_be_bytes(), &value.to_be_bytes()].concat()
}
