use super::*;

/// A segment with its length.
fn segment(kind: u8, body: &[u8]) -> Vec<u8> {
    let length = u16::try_from(body.len() + 2).unwrap().to_be_bytes();
    [&[0xff, kind][..], &length, body].concat()
}

/// As a camera writes it: little-endian Exif with a place and a turn.
fn camera(turn: u8) -> Vec<u8> {
    let mut exif = b"Exif\0\0II*\0\x08\0\0\0\x02\0".to_vec();
    // Tag 0x010f (maker), then 0x0112.
    exif.extend(b"\x0f\x01\x02\0\x04\0\0\0abc\0");
    exif.extend([0x12, 1, 3, 0, 1, 0, 0, 0, turn, 0, 0, 0]);
    exif.extend(b"\0\0\0\0GPS 48.1 N 11.5 E");
    exif
}

fn picture(turn: u8) -> Vec<u8> {
    [
        vec![0xff, 0xd8],
        segment(0xe0, b"JFIF\0\x01\x02\0\0\x01\0\x01\0\0"),
        segment(0xe1, &camera(turn)),
        segment(0xe1, b"http://ns.adobe.com/xap/1.0/\0<x>GPS</x>"),
        segment(0xed, b"GPS of another sort"),
        segment(0xfe, b"GPS in a comment"),
        segment(0xee, b"Adobe\0\x64\0\0\0\0\x01"),
        segment(0xdb, &[0; 65]),
        segment(0xc0, &[8, 0, 8, 0, 8, 1, 1, 0x11, 0]),
        segment(0xda, &[1, 1, 0, 0, 63, 0]),
        vec![0x12, 0xff, 0x00, 0x34, 0xff, 0xd3, 0x56],
        // A second scan, as progressive pictures have.
        vec![0xff],
        segment(0xda, &[1, 1, 0, 0, 63, 0]),
        vec![0x78, 0xff, 0xd9],
        b"behind the end: GPS again \xff\xd8\xff".to_vec(),
    ]
    .concat()
}

#[test]
fn a_jpeg_keeps_the_picture_and_which_way_up_and_nothing_of_the_place() {
    let (kind, bytes) = strip(&picture(6)).unwrap();
    assert_eq!(kind, "image/jpeg");
    for gone in [&b"GPS"[..], b"JFIF", b"abc", b"xap", b"behind"] {
        let found = bytes.windows(gone.len()).any(|part| part == gone);
        assert!(!found, "{}", String::from_utf8_lossy(gone));
    }
    let wanted = [
        vec![0xff, 0xd8],
        upright(6),
        segment(0xee, b"Adobe\0\x64\0\0\0\0\x01"),
        segment(0xdb, &[0; 65]),
        segment(0xc0, &[8, 0, 8, 0, 8, 1, 1, 0x11, 0]),
        segment(0xda, &[1, 1, 0, 0, 63, 0]),
        vec![0x12, 0xff, 0x00, 0x34, 0xff, 0xd3, 0x56],
        segment(0xda, &[1, 1, 0, 0, 63, 0]),
        vec![0x78, 0xff, 0xd9],
    ]
    .concat();
    assert_eq!(bytes, wanted);
    // What is kept says the same turn when it is read again.
    assert_eq!(strip(&bytes).unwrap().1, bytes);
    assert_eq!(orientation(&upright(6)[4..]), Some(6));
}

#[test]
fn a_png_keeps_the_picture_alone() {
    let chunk = |name: &[u8], body: &[u8]| {
        let length = u32::try_from(body.len()).unwrap().to_be_bytes();
        [&length[..], name, body, b"crc!"].concat()
    };
    let whole = [
        PNG.to_vec(),
        chunk(b"IHDR", &[0; 13]),
        chunk(b"eXIf", b"GPS"),
        chunk(b"tEXt", b"Comment\0GPS"),
        chunk(b"IDAT", b"picture"),
        chunk(b"tIME", &[0; 7]),
        chunk(b"IEND", b""),
        b"GPS".to_vec(),
    ]
    .concat();
    let (kind, bytes) = strip(&whole).unwrap();
    assert_eq!(kind, "image/png");
    let wanted = [
        PNG.to_vec(),
        chunk(b"IHDR", &[0; 13]),
        chunk(b"IDAT", b"picture"),
        chunk(b"IEND", b""),
    ]
    .concat();
    assert_eq!(bytes, wanted);
    for end in PNG.len()..whole.len() - 4 {
        assert!(strip(&whole[..end]).is_err(), "{end}");
    }
}

#[test]
fn what_is_no_picture_is_refused() {
    let whole = picture(1);
    let end = whole.windows(2).rposition(|pair| pair == [0xff, 0xd9]);
    for cut in 3..end.unwrap() + 2 {
        assert!(strip(&whole[..cut]).is_err(), "{cut}");
    }
    assert!(strip(b"<svg onload=alert(1)>").is_err());
    assert!(strip(b"").is_err());
    let mut large = vec![0xff; MOST_BYTES + 1];
    large[1] = 0xd8;
    assert!(strip(&large).unwrap_err().contains("12"));
    // A length that reaches beyond the end, or none.
    assert!(strip(&[0xff, 0xd8, 0xff, 0xe1, 0xff, 0xff, 0]).is_err());
    assert!(strip(&[0xff, 0xd8, 0xff, 0xe1, 0, 0, 0xff, 0xd9]).is_err());
}

#[test]
fn photos_are_written_with_place_file_and_words() {
    let given = Given::read("X1:4=a=b,c.jpg,say=the terminal, half out").unwrap();
    assert_eq!(
        (given.at, given.file, given.say),
        ("X1:4", "a=b,c.jpg", Some("the terminal, half out"))
    );
    assert_eq!(Given::read("2=x.png").unwrap().say, None);
    for bad in ["x.png", "=x.png", "X1="] {
        assert!(Given::read(bad).is_err(), "{bad}");
    }
}
