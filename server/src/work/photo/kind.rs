//! What bytes are, told by the bytes.

use forenoon_store::value::MediaType;

/// The first bytes of a JPEG: start of image, then the first byte of any marker. ITU-T T.81, B.1.1.3 and table B.1.
const JPEG_START: [u8; 3] = [0xFF, 0xD8, 0xFF];
/// End of image, the last marker of a JPEG. ITU-T T.81, table B.1.
const JPEG_END: [u8; 2] = [0xFF, 0xD9];
/// The signature of a PNG. W3C, Portable Network Graphics, 5.2.
const PNG_START: [u8; 8] = [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A];
/// The first chunk of a PNG: thirteen bytes named IHDR. The same, 11.2.1.
const PNG_HEADER: [u8; 8] = [0, 0, 0, 13, b'I', b'H', b'D', b'R'];
/// The last chunk of a PNG: no bytes named IEND, and their checksum. The same, 11.2.4.
const PNG_END: [u8; 12] = [0, 0, 0, 0, b'I', b'E', b'N', b'D', 0xAE, 0x42, 0x60, 0x82];

/// What a photograph's bytes are; none where they are neither JPEG nor PNG, or not whole. Cameras may write more after
/// the end of a JPEG, so its end need not be the last of it.
pub fn what_it_is(bytes: &[u8]) -> Option<MediaType> {
    if bytes.starts_with(&JPEG_START) {
        let has_end = bytes.windows(JPEG_END.len()).any(|pair| pair == JPEG_END);
        return has_end.then_some(MediaType::Jpeg);
    }
    let rest = bytes.strip_prefix(&PNG_START)?;
    (rest.starts_with(&PNG_HEADER) && rest.ends_with(&PNG_END)).then_some(MediaType::Png)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A PNG of one black pixel, made by hand: header, one compressed row, end.
    const PNG: &[u8] =
        b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\0\x01\0\0\0\x01\x08\0\0\0\0\x3a\x7e\x9b\x55\
        \0\0\0\x0aIDAT\x78\x9c\x63\x60\0\0\0\x02\0\x01\x48\xaf\xa4\x71\0\0\0\0IEND\xae\x42\x60\x82";
    const JPEG: &[u8] = b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0\xff\xd9";

    #[test]
    fn whole_pictures_are_told_by_their_bytes() {
        assert_eq!(what_it_is(PNG), Some(MediaType::Png));
        assert_eq!(what_it_is(JPEG), Some(MediaType::Jpeg));
        let more = [JPEG, b"what a camera adds"].concat();
        assert_eq!(what_it_is(&more), Some(MediaType::Jpeg));
    }

    #[test]
    fn anything_else_and_every_cut_is_none() {
        for bytes in [
            &b""[..],
            b"<svg xmlns='http://www.w3.org/2000/svg'/>",
            b"GIF89a",
            b"%PDF-1.7",
            b"\x89PNG",
            b"\xff\xd8",
        ] {
            assert_eq!(what_it_is(bytes), None, "{bytes:?}");
        }
        for cut in 0..PNG.len() {
            assert_eq!(what_it_is(&PNG[..cut]), None, "PNG cut at {cut}");
        }
        for cut in 0..JPEG.len() {
            assert_eq!(what_it_is(&JPEG[..cut]), None, "JPEG cut at {cut}");
        }
    }
}
