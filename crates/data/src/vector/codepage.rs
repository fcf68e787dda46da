//! Text in the code pages that dBASE tables come in.

use encoding_rs::Encoding;

/// How the text of a table is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum CodePage {
    /// One that the Encoding Standard has.
    Standard(&'static Encoding),
    /// One of DOS: the letters of the bytes 128 to 255.
    Dos(&'static str, &'static str),
    /// UTF-8 where it fits, else Windows-1252: nobody said.
    Guess,
}

// The upper halves, from the mapping tables of the Unicode Consortium (VENDORS/MICSFT/PC), written out by the codecs of
// Python 3.11.
const CP437: &str = "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜ¢£¥₧ƒáíóúñÑªº¿⌐¬½¼¡«»░▒▓│┤╡╢╖╕╣║╗╝╜╛┐└┴┬├─┼╞╟╚╔╩╦╠═╬╧╨╤╥╙╘╒╓╫╪┘┌█▄▌▐▀αßΓπΣσµτΦΘΩδ∞φε∩≡±≥≤⌠⌡÷≈°∙·√ⁿ²■\u{a0}";
const CP850: &str = "ÇüéâäàåçêëèïîìÄÅÉæÆôöòûùÿÖÜø£Ø×ƒáíóúñÑªº¿®¬½¼¡«»░▒▓│┤ÁÂÀ©╣║╗╝¢¥┐└┴┬├─┼ãÃ╚╔╩╦╠═╬¤ðÐÊËÈıÍÎÏ┘┌█▄¦Ì▀ÓßÔÒõÕµþÞÚÛÙýÝ¯´\u{ad}±‗¾¶§÷¸°¨·¹³²■\u{a0}";
const CP852: &str = "ÇüéâäůćçłëŐőîŹÄĆÉĹĺôöĽľŚśÖÜŤťŁ×čáíóúĄąŽžĘę¬źČş«»░▒▓│┤ÁÂĚŞ╣║╗╝Żż┐└┴┬├─┼Ăă╚╔╩╦╠═╬¤đĐĎËďŇÍÎě┘┌█▄ŢŮ▀ÓßÔŃńňŠšŔÚŕŰýÝţ´\u{ad}˝˛ˇ˘§÷¸°¨˙űŘř■\u{a0}";

impl CodePage {
    /// From the text of a `.cpg` file, such as `UTF-8`, `1252`, `CP850`, `ANSI 1251` or `ISO-8859-1`.
    pub(crate) fn from_label(label: &str) -> Option<Self> {
        let plain = label.trim_matches(|c: char| c.is_whitespace() || c == '\u{feff}' || c == '\0').to_lowercase();
        if let Some(encoding) = Encoding::for_label(plain.as_bytes()) {
            return Some(Self::Standard(encoding));
        }
        let squeezed: String = plain.chars().filter(char::is_ascii_alphanumeric).collect();
        // "88591" and "iso 8859 1" both mean part 1.
        let part = squeezed.strip_prefix("iso").unwrap_or(&squeezed).strip_prefix("8859");
        if let Some(encoding) = part.and_then(|n| Encoding::for_label(format!("iso-8859-{n}").as_bytes())) {
            return Some(Self::Standard(encoding));
        }
        let number = squeezed.trim_start_matches(|c: char| c.is_ascii_alphabetic());
        number.parse().ok().and_then(Self::from_number)
    }

    /// From a code page's number.
    fn from_number(number: u32) -> Option<Self> {
        let label = match number {
            437 => return Some(Self::Dos("CP437", CP437)),
            850 => return Some(Self::Dos("CP850", CP850)),
            852 => return Some(Self::Dos("CP852", CP852)),
            866 => "ibm866".to_owned(),
            874 | 1250..=1258 => format!("windows-{number}"),
            932 => "shift_jis".into(),
            936 => "gbk".into(),
            949 => "euc-kr".into(),
            950 => "big5".into(),
            10_000 => "macintosh".into(),
            20_866 => "koi8-r".into(),
            21_866 => "koi8-u".into(),
            28_591..=28_606 => format!("iso-8859-{}", number - 28_590),
            54_936 => "gb18030".into(),
            65_001 => "utf-8".into(),
            _ => return None,
        };
        Encoding::for_label(label.as_bytes()).map(Self::Standard)
    }

    /// From the language driver byte of a dBASE header; the error is the code page's number, 0 where even that is
    /// unknown. From memory, and checked in the tests against the `dbase` crate where it knows the byte.
    pub(crate) fn from_driver(byte: u8) -> Result<Self, u32> {
        let number = match byte {
            0x00 => return Ok(Self::Guess),
            0x01 | 0x09 | 0x0B | 0x0D | 0x0F | 0x11 | 0x15 | 0x18 | 0x19 | 0x1B => 437,
            0x02 | 0x0A | 0x0E | 0x10 | 0x12 | 0x14 | 0x16 | 0x1A | 0x1D | 0x25 | 0x37 => 850,
            0x03 | 0x57 | 0x58 | 0x59 => 1_252,
            0x04 => 10_000,
            0x08 | 0x17 | 0x66 => 865,
            0x13 | 0x7B => 932,
            0x1C | 0x6C => 863,
            0x1F | 0x22 | 0x23 | 0x40 | 0x64 | 0x87 => 852,
            0x24 => 860,
            0x26 | 0x65 => 866,
            0x4D | 0x7A => 936,
            0x4E | 0x79 => 949,
            0x4F | 0x78 => 950,
            0x50 | 0x7C => 874,
            0x67 => 861,
            0x68 => 895,
            0x69 => 620,
            0x6A | 0x86 => 737,
            0x6B | 0x88 => 857,
            0x7D => 1_255,
            0x7E => 1_256,
            0xC8 => 1_250,
            0xC9 => 1_251,
            0xCA => 1_254,
            0xCB => 1_253,
            0xCC => 1_257,
            0xF0 => 65_001,
            _ => 0,
        };
        Self::from_number(number).ok_or(number)
    }

    /// The text of some bytes; what is not in the code page becomes the replacement character.
    pub(crate) fn decode(self, bytes: &[u8]) -> String {
        match self {
            Self::Standard(encoding) => encoding.decode_without_bom_handling(bytes).0.into_owned(),
            Self::Dos(_, upper) => bytes
                .iter()
                .map(|&b| {
                    if b < 128 { char::from(b) } else { upper.chars().nth(usize::from(b) - 128).unwrap_or('\u{fffd}') }
                })
                .collect(),
            Self::Guess => match std::str::from_utf8(bytes) {
                Ok(text) => text.to_owned(),
                Err(_) => encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0.into_owned(),
            },
        }
    }

    /// The name of the code page.
    #[cfg(test)]
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Standard(encoding) => encoding.name(),
            Self::Dos(name, _) => name,
            Self::Guess => "UTF-8 or Windows-1252",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_as_files_have_them() {
        for (label, name) in [
            ("UTF-8", "UTF-8"),
            ("utf8\r\n", "UTF-8"),
            ("\u{feff}UTF-8", "UTF-8"),
            ("65001", "UTF-8"),
            ("1252", "windows-1252"),
            ("CP1252", "windows-1252"),
            ("ANSI 1251", "windows-1251"),
            ("ISO-8859-2", "ISO-8859-2"),
            ("ISO 8859-15", "ISO-8859-15"),
            ("88591", "windows-1252"),
            ("885915", "ISO-8859-15"),
            ("OEM 437", "CP437"),
            ("850", "CP850"),
            ("Big5", "Big5"),
            ("936", "GBK"),
        ] {
            assert_eq!(CodePage::from_label(label).map(CodePage::name), Some(name), "{label}");
        }
        for label in ["", "klingon", "0", "99999999999999"] {
            assert_eq!(CodePage::from_label(label), None, "{label}");
        }
    }

    #[test]
    fn letters_of_the_code_pages() {
        // The same word, “Mühle £”, by Python 3.11's codecs.
        for (label, bytes) in [
            ("437", b"M\x81hle \x9c".as_slice()),
            ("850", b"M\x81hle \x9c"),
            ("1252", b"M\xfchle \xa3"),
            ("UTF-8", b"M\xc3\xbchle \xc2\xa3"),
        ] {
            assert_eq!(CodePage::from_label(label).unwrap().decode(bytes), "Mühle £", "{label}");
        }
        assert_eq!(CodePage::from_label("852").unwrap().decode(b"\xfd\x88"), "řł");
        assert_eq!(CodePage::Guess.decode(b"M\xfchle"), "Mühle");
        assert_eq!(CodePage::Guess.decode(b"M\xc3\xbchle"), "Mühle");
        for page in [CP437, CP850, CP852] {
            assert_eq!(page.chars().count(), 128);
        }
    }

    #[test]
    fn driver_bytes_agree_with_another_reader() {
        use dbase::CodePageMark as M;
        let number = |mark| {
            Some(match mark {
                M::CP437 => 437,
                M::CP850 => 850,
                M::CP1252 => 1_252,
                M::CP852 => 852,
                M::CP866 => 866,
                M::CP865 => 865,
                M::CP861 => 861,
                M::CP895 => 895,
                M::CP620 => 620,
                M::CP737 => 737,
                M::CP857 => 857,
                M::CP950 => 950,
                M::CP949 => 949,
                M::CP936 => 936,
                M::CP932 => 932,
                M::CP874 => 874,
                M::CP1255 => 1_255,
                M::CP1256 => 1_256,
                M::CP1250 => 1_250,
                M::CP1251 => 1_251,
                M::CP1254 => 1_254,
                M::CP1253 => 1_253,
                M::Utf8 => 65_001,
                _ => return None,
            })
        };
        let mut known = 0;
        for byte in 1..=255 {
            if let Some(number) = number(M::from(byte)) {
                known += 1;
                assert_eq!(CodePage::from_driver(byte), CodePage::from_number(number).ok_or(number), "{byte:#x}");
            }
        }
        assert!(known > 30);
    }
}
