//! From bytes to text with plain line ends.

use std::borrow::Cow;

use crate::exchange::{ExchangeError, table};

/// Decodes UTF-8 and UTF-16 by BOM, XML as it declares, UTF-8 without, else Latin-1; ends every
/// line by LF.
pub(super) fn decode(bytes: &[u8], assumed: &mut Vec<String>) -> Result<String, ExchangeError> {
    let text: Cow<'_, str> = match bytes {
        [0xFF, 0xFE, rest @ ..] => Cow::Owned(utf16(rest, u16::from_le_bytes)?),
        [0xFE, 0xFF, rest @ ..] => Cow::Owned(utf16(rest, u16::from_be_bytes)?),
        _ => {
            let rest = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
            let skipped = bytes.len() - rest.len();
            if let Some(at) = rest.iter().position(|byte| is_control(*byte)) {
                return Err(ExchangeError::Binary {
                    byte: rest[at],
                    offset: at + skipped,
                });
            }
            match std::str::from_utf8(rest) {
                Ok(text) if says_latin_1(rest) && !text.is_ascii() => latin_1(rest),
                Ok(text) => Cow::Borrowed(text),
                Err(_) if says_latin_1(rest) => latin_1(rest),
                Err(error) if is_xml(rest) => {
                    return Err(ExchangeError::Charset {
                        declared: table::brief(&declared_charset(rest)),
                        offset: error.valid_up_to() + skipped,
                    });
                }
                Err(_) => {
                    assumed.push("the file is not UTF-8; it was read as Latin-1".to_owned());
                    latin_1(rest)
                }
            }
        }
    };
    Ok(text.replace("\r\n", "\n").replace('\r', "\n"))
}

fn latin_1(bytes: &[u8]) -> Cow<'_, str> {
    Cow::Owned(bytes.iter().map(|byte| char::from(*byte)).collect())
}

fn is_xml(bytes: &[u8]) -> bool {
    bytes.trim_ascii_start().starts_with(b"<")
}

fn says_latin_1(bytes: &[u8]) -> bool {
    is_xml(bytes) && declared_charset(bytes).eq_ignore_ascii_case("ISO-8859-1")
}

/// The charset of an XML declaration; UTF-8 where none is declared (XML 1.0, 4.3.3).
fn declared_charset(bytes: &[u8]) -> String {
    let start = bytes.trim_ascii_start();
    let declaration = start.strip_prefix(b"<?xml").and_then(|rest| {
        let end = rest.windows(2).take(400).position(|pair| pair == b"?>")?;
        std::str::from_utf8(&rest[..end]).ok()
    });
    let charset = declaration.and_then(|text| {
        let value = text.split_once("encoding")?.1.trim_start();
        let value = value.strip_prefix('=')?.trim_start();
        let quote = value.chars().next().filter(|c| matches!(c, '"' | '\''))?;
        value[1..].split(quote).next()
    });
    charset.unwrap_or("UTF-8").to_owned()
}

/// Control characters that no text export has.
fn is_control(byte: u8) -> bool {
    byte < 0x20 && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0C)
}

fn utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Result<String, ExchangeError> {
    let binary = |index: usize| ExchangeError::Binary {
        byte: bytes.get(index).copied().unwrap_or_default(),
        offset: index + 2,
    };
    let (pairs, []) = bytes.as_chunks::<2>() else {
        return Err(binary(bytes.len() - 1));
    };
    let mut text = String::with_capacity(pairs.len());
    let mut index = 0;
    for decoded in char::decode_utf16(pairs.iter().map(|pair| unit(*pair))) {
        match decoded {
            Ok(c) if u8::try_from(c).is_ok_and(is_control) => return Err(binary(index)),
            Ok(c) => {
                text.push(c);
                index += 2 * c.len_utf16();
            }
            Err(_) => return Err(binary(index)),
        }
    }
    Ok(text)
}
