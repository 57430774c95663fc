//! From bytes to text with plain line ends.

use std::borrow::Cow;

use crate::exchange::ExchangeError;

/// Decodes UTF-8 and UTF-16 by BOM, UTF-8 without, else Latin-1; ends every line by LF.
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
                Ok(text) => Cow::Borrowed(text),
                Err(_) => {
                    assumed.push("the file is not UTF-8; it was read as Latin-1".to_owned());
                    Cow::Owned(rest.iter().map(|byte| char::from(*byte)).collect())
                }
            }
        }
    };
    Ok(text.replace("\r\n", "\n").replace('\r', "\n"))
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
