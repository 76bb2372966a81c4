use napline_tests::camera::{LATITUDE, SECRETS, jpeg, talkative};
use shared_model::ids::{FlightId, MarkId, PhotoId};
use shared_model::job::{Edit, EditError, JobDoc, NewPhoto, Photo, Picture, PictureHash, Subject, Timestamp};
use shared_model::photo::{self, NoPicture, Size};
use uuid::Uuid;
use zune_jpeg::JpegDecoder;

use super::crew::{act, add_room, add_wall, catch_up, phone, room, wall};

/// Where a file's segment with this marker starts, and where it ends.
fn segment(file: &[u8], marker: u8) -> std::ops::Range<usize> {
    let at = file.windows(2).position(|it| it == [0xff, marker]).unwrap();
    at..at + 2 + usize::from(u16::from_be_bytes([file[at + 2], file[at + 3]]))
}

fn with(file: &[u8], at: usize, what: &[u8]) -> Vec<u8> {
    [&file[..at], what, &file[at..]].concat()
}

fn shown(file: &[u8]) -> Vec<u8> {
    JpegDecoder::new(zune_jpeg::zune_core::bytestream::ZCursor::new(file)).decode().unwrap()
}

#[test]
fn plain_jpegs_are_kept() {
    for (width, height, progressive) in [(1_600, 1_200, false), (900, 1_600, true), (1, 1, false), (256, 3, true)] {
        let file = jpeg(width, height, progressive);
        let size = Size { width: width.into(), height: height.into() };
        assert_eq!(photo::vet(&file), Ok(size), "{width} × {height}, progressive: {progressive}");
        assert_eq!(photo::plain(&file).as_ref(), Ok(&file));
    }
}

/// Markers by ITU-T T.81, Table B.1; what APP segments hold by CIPA DC-008, 4.5.4 and 4.7, and by the XMP and ICC specifications.
#[test]
fn whatever_a_decoder_does_not_need_is_refused_and_left_out() {
    let file = jpeg(320, 200, false);
    let says = |marker: u8, what: &[u8]| [&[0xff, marker][..], &(what.len() as u16 + 2).to_be_bytes(), what].concat();
    let jfif = segment(&file, 0xe0);
    let thumbnail = [&b"JFIF\0\x01\x02\0\0\x01\0\x01\x01\x01"[..], &[9, 9, 9]].concat();
    let cases = [
        ("Exif", with(&file, 2, &says(0xe1, b"Exif\0\0MM\0\x2a\0\0\0\x08\0\0"))),
        ("Exif behind the frame", with(&file, segment(&file, 0xc0).end, &says(0xe1, b"Exif\0\0"))),
        ("XMP", with(&file, jfif.end, &says(0xe1, b"http://ns.adobe.com/xap/1.0/\0<x/>"))),
        ("colour profile", with(&file, jfif.end, &says(0xe2, b"ICC_PROFILE\0\x01\x01made by"))),
        ("several pictures", with(&file, jfif.end, &says(0xe2, b"MPF\0MM"))),
        ("image resources", with(&file, jfif.end, &says(0xed, b"Photoshop 3.0\08BIM"))),
        ("comment", with(&file, jfif.end, &says(0xfe, b"by the garden door"))),
        ("second JFIF", with(&file, jfif.end, &file[jfif.clone()])),
        ("JFIF with a thumbnail", [&file[..2], &says(0xe0, &thumbnail), &file[jfif.end..]].concat()),
        ("fill bytes", with(&file, jfif.end, &[0xff, 0xff])),
        ("more behind the end", [&file[..], b"a film of three seconds"].concat()),
        ("all that a camera says", talkative(320, 200)),
    ];
    for (what, talks) in cases {
        assert_eq!(photo::vet(&talks), Err(NoPicture::Talkative), "{what}");
        let plain = photo::plain(&talks).unwrap();
        assert_eq!(photo::vet(&plain), Ok(Size { width: 320, height: 200 }), "{what}");
        assert_eq!(shown(&plain), shown(&file), "{what}");
    }
    let plain = photo::plain(&talkative(320, 200)).unwrap();
    for secret in SECRETS.iter().map(|it| it.as_bytes()).chain([&LATITUDE[..], b"Exif"]) {
        assert!(talkative(320, 200).windows(secret.len()).any(|it| it == secret));
        assert!(!plain.windows(secret.len()).any(|it| it == secret));
    }
}

#[test]
fn other_files_are_refused_with_a_reason() {
    let file = jpeg(320, 200, false);
    let frame = segment(&file, 0xc0);
    let with_marker = |marker: u8| {
        let mut other = file.clone();
        other[frame.start + 1] = marker;
        other
    };
    let mut twelve_bits = file.clone();
    twelve_bits[frame.start + 4] = 12;
    let no_lines = {
        let mut other = file.clone();
        other[frame.start + 5..frame.start + 7].fill(0);
        other
    };
    for (what, refused, why) in [
        ("nothing", Vec::new(), NoPicture::NoJpeg),
        ("PNG", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec(), NoPicture::NoJpeg),
        ("SVG", b"<svg onload=alert(1)>".to_vec(), NoPicture::NoJpeg),
        ("arithmetic coding", with_marker(0xc9), NoPicture::Unusual(0xc9)),
        ("lossless", with_marker(0xc3), NoPicture::Unusual(0xc3)),
        ("12 bits", twelve_bits, NoPicture::Damaged(frame.start + 2)),
        ("two frames", with(&file, frame.end, &file[frame.clone()]), NoPicture::Damaged(frame.end + 2)),
        ("no lines", no_lines, NoPicture::Dimensions { width: 320, height: 0 }),
        ("cut off in the header", file[..frame.end - 3].to_vec(), NoPicture::Damaged(frame.start + 2)),
        ("cut off in the data", file[..file.len() - 40].to_vec(), NoPicture::Damaged(file.len() - 40)),
        ("header alone", [&file[..frame.end], &[0xff, 0xd9]].concat(), NoPicture::Damaged(frame.end + 2)),
        ("too many pixels", jpeg(1_601, 20, false), NoPicture::Dimensions { width: 1_601, height: 20 }),
        ("too long", vec![0xff; (2 << 20) + 1], NoPicture::TooLong((2 << 20) + 1)),
    ] {
        assert_eq!(photo::vet(&refused), Err(why), "{what}");
    }
}

/// Every prefix, and every byte changed: an answer, and never a panic; what is still accepted is plain.
#[test]
fn damage_does_no_harm() {
    let file = jpeg(40, 30, true);
    (0..file.len()).for_each(|end| assert!(photo::vet(&file[..end]).is_err(), "cut at {end}"));
    for at in 0..file.len() {
        for byte in [0x00, 0xff, file[at] ^ 0x10] {
            let mut other = file.clone();
            other[at] = byte;
            if let Ok(plain) = photo::plain(&other) {
                assert_eq!(photo::plain(&plain).as_ref(), Ok(&plain), "byte {at} is {byte:#04x}");
            }
        }
    }
}

#[test]
fn pictures_are_scaled_to_their_longest_edge() {
    for ((width, height), most, (w, h)) in [
        ((4_032, 3_024), 1_600, (1_600, 1_200)),
        ((3_024, 4_032), 256, (192, 256)),
        ((1_600, 10), 1_600, (1_600, 10)),
        ((30_000, 2), 256, (256, 1)),
        ((1, 1), 256, (1, 1)),
        ((u32::MAX, u32::MAX - 1), 1_600, (1_600, 1_600)),
    ] {
        assert_eq!(Size { width, height }.within(most), Size { width: w, height: h });
    }
}

fn picture(n: u8) -> Picture {
    Picture { hash: PictureHash([n; 32]), bytes: 1_000 * u32::from(n), width: 256, height: 192 }
}

fn new_photo(n: u8, of: Subject) -> NewPhoto {
    let caption = format!("damp {n}");
    NewPhoto { id: PhotoId(Uuid::from_u128(n.into())), of, picture: picture(n), thumbnail: picture(n + 1), caption }
}

fn hall() -> [Edit; 2] {
    [add_room(1, "Hall"), add_wall(1, 1)]
}

#[test]
fn photos_of_two_phones_that_take_their_first_ones_apart_both_stay() {
    let (mut anna, mut ben, mut server) = (phone(1), phone(2), phone(3));
    act(&mut anna, &hall());
    catch_up(&mut anna, &mut server);
    catch_up(&mut ben, &mut server);
    for (doc, photo) in
        [(&mut anna, new_photo(1, Subject::Wall(room(1), wall(1)))), (&mut ben, new_photo(7, Subject::Room(room(1))))]
    {
        doc.edit(&[Edit::AddPhoto { photo }], "photo", Timestamp(9)).unwrap();
    }
    catch_up(&mut anna, &mut server);
    catch_up(&mut ben, &mut server);
    catch_up(&mut anna, &mut server);
    assert_eq!(anna.job(), ben.job());
    let mut photos = anna.job().photos;
    photos.sort_by_key(|it| it.id);
    assert_eq!(photos, {
        let mut all = server.photos();
        all.sort_by_key(|it| it.id);
        all
    });
    let [one, other] = photos.try_into().unwrap();
    assert_eq!((one.of, one.caption.as_str()), (Subject::Wall(room(1), wall(1)), "damp 1"));
    assert_eq!((other.of, other.pictures()), (Subject::Room(room(1)), [picture(8), picture(7)]));

    // Either is taken off by either phone, and comes back.
    let withdraw = |withdrawn| [1, 7].map(|n| Edit::WithdrawPhoto { photo: new_photo(n, Subject::Job).id, withdrawn });
    act(&mut ben, &withdraw(true));
    assert_eq!(ben.job().photos_in_force().count(), 0);
    assert_eq!(ben.job().photos.len(), 2);
    act(&mut ben, &withdraw(false));
    assert_eq!(ben.job().photos_in_force().count(), 2);
}

#[test]
fn a_photo_is_refused_when_it_cannot_be() {
    let mut doc = phone(1);
    act(&mut doc, &hall());
    let good = new_photo(1, Subject::Room(room(1)));
    let change = |change: fn(&mut NewPhoto)| {
        let mut photo = good.clone();
        change(&mut photo);
        photo
    };
    let refused =
        |doc: &mut JobDoc, photo: NewPhoto| doc.edit(&[Edit::AddPhoto { photo }], "photo", Timestamp(1)).unwrap_err();
    for photo in [
        change(|it| it.picture.bytes = 0),
        change(|it| it.picture.bytes = (2 << 20) + 1),
        change(|it| it.picture.width = 1_601),
        change(|it| it.thumbnail.height = 257),
        change(|it| it.thumbnail.bytes = (64 << 10) + 1),
        change(|it| it.caption = "x".repeat(401)),
    ] {
        let error = refused(&mut doc, photo);
        assert!(matches!(error, EditError::Invalid(_)), "{error}");
    }
    for photo in [
        change(|it| it.of = Subject::Wall(room(1), wall(2))),
        change(|it| it.of = Subject::Mark(room(1), MarkId(Uuid::from_u128(4)))),
        change(|it| it.of = Subject::Flight(FlightId(Uuid::from_u128(4)))),
    ] {
        let error = refused(&mut doc, photo);
        assert!(matches!(error, EditError::Missing(_)), "{error}");
    }
    act(&mut doc, &[Edit::AddPhoto { photo: good.clone() }]);
    let twice = doc.edit(&[Edit::AddPhoto { photo: good }], "photo", Timestamp(1)).unwrap_err();
    assert!(matches!(twice, EditError::Exists(_)), "{twice}");
}

#[test]
fn a_thousand_photos_are_enough_for_a_job() {
    let mut doc = phone(1);
    let of = |n: u128| NewPhoto { id: PhotoId(Uuid::from_u128(n)), ..new_photo(1, Subject::Job) };
    let add = |doc: &mut JobDoc, numbers: std::ops::Range<u128>| {
        let edits: Vec<Edit> = numbers.map(|n| Edit::AddPhoto { photo: of(n) }).collect();
        doc.edit(&edits, "photos", Timestamp(1))
    };
    (0..10).for_each(|it| drop(add(&mut doc, it * 100..it * 100 + 100).unwrap()));
    assert!(matches!(add(&mut doc, 1_000..1_001), Err(EditError::Invalid(_))));
    assert_eq!(doc.job().photos.len(), 1_000);
}

#[test]
fn a_pictures_name_is_read_back_and_nothing_else_is() {
    // FIPS 180-2, B.1: SHA-256 of "abc".
    let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(PictureHash::of(b"abc").to_string(), abc);
    assert_eq!(abc.parse(), Ok(PictureHash::of(b"abc")));
    for bad in ["", &abc[1..], &abc.to_uppercase(), &format!("{abc}0"), &abc.replace('b', "g"), "../../etc/passwd"] {
        assert!(bad.parse::<PictureHash>().is_err(), "{bad}");
    }
    let photo = Photo {
        id: PhotoId(Uuid::nil()),
        of: Subject::Job,
        picture: picture(3),
        thumbnail: picture(4),
        caption: String::new(),
        stamp: shared_model::job::Stamp { by: super::crew::device(1), at: Timestamp(1) },
        withdrawn: false,
    };
    let json = serde_json::to_string(&photo).unwrap();
    assert!(json.contains(&PictureHash([3; 32]).to_string()));
    assert_eq!(serde_json::from_str::<Photo>(&json).unwrap(), photo);
}

#[test]
fn who_brings_a_picture_goes_on_where_the_other_side_says_and_nowhere_else() {
    use shared_model::photo::{Next, next};
    assert_eq!(next(Some("?1"), None, 900), Next::Done);
    assert_eq!(next(Some("?0"), Some("0"), 900), Next::From(0));
    assert_eq!(next(Some("?0"), Some("899"), 900), Next::From(899));
    // Not complete, and nothing left to send; or no word of either.
    for (complete, offset) in [
        (Some("?0"), Some("900")),
        (Some("?0"), Some("901")),
        (Some("?0"), None),
        (None, None),
        (Some("1"), Some("-1")),
        (Some("true"), Some("words")),
    ] {
        assert_eq!(next(complete, offset, 900), Next::Stuck, "{complete:?} {offset:?}");
    }
}
