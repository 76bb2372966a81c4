//! Which files may be kept as pictures: JPEG, with nothing in them but the picture.
//!
//! A camera writes more into a file than it shows: where and when it was taken, with which device, a thumbnail of what was cut away
//! later. All of that stands in marker segments that no decoder needs, and so do the notes of some browsers' own encoders:
//! [`plain`] leaves them out, and [`vet`] refuses a file that still has some.
//!
//! Markers and the order of segments: ITU-T T.81 (1992), Annex B, Table B.1. APP1 holds Exif (CIPA DC-008, 4.5.4) and XMP.

/// Longest edge of a picture, pixels.
pub const LONGEST_EDGE: u32 = 1_600;

/// Longest edge of a thumbnail, pixels.
pub const THUMBNAIL_EDGE: u32 = 256;

/// Most bytes of a picture's file.
pub const MOST_BYTES: u32 = 2 << 20;

/// Most bytes of a thumbnail's file.
pub const MOST_THUMBNAIL_BYTES: u32 = 64 << 10;

/// Bytes of a piece in which a picture goes over the network; its last one may have fewer.
pub const PIECE: usize = 256 << 10;

const SOI: u8 = 0xd8;
const EOI: u8 = 0xd9;
const SOS: u8 = 0xda;
const DHT: u8 = 0xc4;
const DQT: u8 = 0xdb;
const DRI: u8 = 0xdd;
const APP0: u8 = 0xe0;
const COM: u8 = 0xfe;
/// Frames by Huffman coding: baseline, progressive.
const FRAMES: [u8; 2] = [0xc0, 0xc2];
/// Markers within coded data: a stuffed zero, restarts.
const WITHIN_DATA: [u8; 9] = [0x00, 0xd0, 0xd1, 0xd2, 0xd3, 0xd4, 0xd5, 0xd6, 0xd7];

/// Why a file is not kept as a picture.
#[derive(thiserror::Error, Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoPicture {
    #[error("it is no JPEG file")]
    NoJpeg,
    #[error("it is not whole, or damaged at byte {0}")]
    Damaged(usize),
    #[error("it is a kind of JPEG that not every phone shows (marker {0:#04x})")]
    Unusual(u8),
    #[error("it is {width} × {height} pixels: the longest edge may have {LONGEST_EDGE}")]
    Dimensions { width: u32, height: u32 },
    #[error("it has {0} bytes: at most {MOST_BYTES}")]
    TooLong(usize),
    #[error("it says more than it shows, as a place or a device")]
    Talkative,
}

/// Pixels of a picture.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Size {
    pub width: u32,
    pub height: u32,
}

impl Size {
    /// The same shape with its longest edge of `most` pixels; a smaller one stays as it is. No edge vanishes.
    pub fn within(self, most: u32) -> Self {
        let longest = self.width.max(self.height);
        if longest <= most {
            return self;
        }
        let scaled = |edge: u32| {
            let rounded = (u64::from(edge) * u64::from(most) + u64::from(longest) / 2) / u64::from(longest);
            u32::try_from(rounded).unwrap_or(most).clamp(1, most)
        };
        Self { width: scaled(self.width), height: scaled(self.height) }
    }
}

/// What who brings a picture does next.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Next {
    /// The other side has it.
    Done,
    /// Sends the piece that starts at this byte.
    From(usize),
    /// Tries again some time: the other side says neither that it has the picture nor what of it is missing.
    Stuck,
}

/// Reads what the other side says of a picture with so many bytes in its headers `Upload-Complete` and `Upload-Offset`
/// (draft-ietf-httpbis-resumable-upload).
pub fn next(complete: Option<&str>, offset: Option<&str>, bytes: usize) -> Next {
    if complete == Some("?1") {
        return Next::Done;
    }
    let from = offset.and_then(|it| it.parse().ok()).filter(|it| *it < bytes);
    from.map_or(Next::Stuck, Next::From)
}

/// Checks a file before it is stored: a whole JPEG of a size that photos have, with nothing beside the picture.
pub fn vet(bytes: &[u8]) -> Result<Size, NoPicture> {
    if bytes.len() > MOST_BYTES as usize {
        return Err(NoPicture::TooLong(bytes.len()));
    }
    let (plain, size) = read(bytes)?;
    if plain != bytes {
        return Err(NoPicture::Talkative);
    }
    if size.width == 0 || size.height == 0 || size.width.max(size.height) > LONGEST_EDGE {
        return Err(NoPicture::Dimensions { width: size.width, height: size.height });
    }
    Ok(size)
}

/// The same picture without everything that a decoder does not need.
pub fn plain(bytes: &[u8]) -> Result<Vec<u8>, NoPicture> {
    read(bytes).map(|(plain, _)| plain)
}

/// Walks through the segments and copies those that make the picture.
fn read(bytes: &[u8]) -> Result<(Vec<u8>, Size), NoPicture> {
    let mut rest = Rest { bytes, at: 0 };
    if rest.marker() != Ok(SOI) {
        return Err(NoPicture::NoJpeg);
    }
    let mut plain = vec![0xff, SOI];
    let mut size = None;
    let mut scans = 0_usize;
    loop {
        let marker = rest.marker()?;
        if marker == EOI {
            break;
        }
        let at = rest.at;
        let body = rest.segment()?;
        let needed = match marker {
            frame if FRAMES.contains(&frame) => {
                if size.replace(frame_size(body).ok_or(NoPicture::Damaged(at))?).is_some() {
                    return Err(NoPicture::Damaged(at));
                }
                true
            }
            SOS => body.first().is_some_and(|it| body.len() == 4 + 2 * usize::from(*it)),
            DQT => is_quantization(body),
            DHT => is_huffman(body),
            DRI => body.len() == 2,
            APP0..=0xef | COM => false,
            other => return Err(NoPicture::Unusual(other)),
        };
        if !(needed || matches!(marker, APP0..=0xef | COM)) {
            return Err(NoPicture::Damaged(at));
        }
        if needed || is_bare_jfif(marker, body, plain.len()) {
            plain.extend([0xff, marker]);
            plain.extend(bytes.get(at..rest.at).unwrap_or_default());
        }
        if marker == SOS {
            if size.is_none() {
                return Err(NoPicture::Damaged(at));
            }
            scans += 1;
            plain.extend(rest.coded_data());
        }
    }
    plain.extend([0xff, EOI]);
    match size {
        Some(size) if scans > 0 => Ok((plain, size)),
        _ => Err(NoPicture::Damaged(rest.at)),
    }
}

/// What is not read yet.
struct Rest<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Rest<'a> {
    fn byte(&mut self) -> Result<u8, NoPicture> {
        let byte = self.bytes.get(self.at).copied().ok_or(NoPicture::Damaged(self.at))?;
        self.at += 1;
        Ok(byte)
    }

    /// Any number of bytes 0xff may stand before a marker's code.
    fn marker(&mut self) -> Result<u8, NoPicture> {
        let at = self.at;
        if self.byte()? != 0xff {
            return Err(NoPicture::Damaged(at));
        }
        loop {
            match self.byte()? {
                0xff => {}
                0x00 => return Err(NoPicture::Damaged(at)),
                marker => return Ok(marker),
            }
        }
    }

    /// A segment's parameters, without the length that stands in front of them.
    fn segment(&mut self) -> Result<&'a [u8], NoPicture> {
        let at = self.at;
        let length = usize::from(u16::from_be_bytes([self.byte()?, self.byte()?]));
        let body = self.bytes.get(at + 2..at + length).ok_or(NoPicture::Damaged(at))?;
        self.at = at + length;
        Ok(body)
    }

    /// Up to the next marker that ends it.
    fn coded_data(&mut self) -> &'a [u8] {
        let data = self.bytes.get(self.at..).unwrap_or_default();
        let ends = data.windows(2).position(|it| it[0] == 0xff && !WITHIN_DATA.contains(&it[1]));
        let data = &data[..ends.unwrap_or(data.len())];
        self.at += data.len();
        data
    }
}

/// B.2.2: precision, lines, samples per line, components of three bytes each.
fn frame_size(body: &[u8]) -> Option<Size> {
    let [8, high, low, wide, narrow, components, ..] = *body else { return None };
    let sound = matches!(components, 1 | 3) && body.len() == 6 + 3 * usize::from(components);
    let [height, width] = [[high, low], [wide, narrow]].map(|it| u32::from(u16::from_be_bytes(it)));
    sound.then_some(Size { width, height })
}

/// B.2.4.1: tables of 64 values of one or two bytes, and nothing behind them.
fn is_quantization(mut body: &[u8]) -> bool {
    while let Some(kind) = body.first() {
        let length = match kind >> 4 {
            0 => 65,
            1 => 129,
            _ => return false,
        };
        let Some(rest) = body.get(length..) else { return false };
        body = rest;
    }
    true
}

/// B.2.4.2: the number of codes of each of 16 lengths, then the codes' values, and nothing behind them.
fn is_huffman(mut body: &[u8]) -> bool {
    while !body.is_empty() {
        let Some(counts) = body.get(1..17) else { return false };
        let values: usize = counts.iter().map(|it| usize::from(*it)).sum();
        let Some(rest) = body.get(17 + values..) else { return false };
        body = rest;
    }
    true
}

/// The first segment of most files: which kind of pixels they are. It may hold a thumbnail, and then it goes.
fn is_bare_jfif(marker: u8, body: &[u8], before: usize) -> bool {
    marker == APP0 && before == 2 && body.len() == 14 && body.starts_with(b"JFIF\0") && body.ends_with(&[0, 0])
}
