//! Tags that a format has no place for, in one text: `name=value` and `group|name=value`, parted
//! by `;`, with every character but letters, digits and `_ - . / @` as `%` and its UTF-8 bytes.

use crate::exchange::document::Tag;

/// Column, keyword or comment that holds them, in any case.
pub(super) const NAME: &str = "SECONDCAN_TAGS";

pub(super) fn pack(tags: &[&Tag]) -> String {
    let one = |tag: &&Tag| {
        let group = if tag.group.is_empty() {
            String::new()
        } else {
            escape(&tag.group) + "|"
        };
        format!("{group}{}={}", escape(&tag.name), escape(&tag.value))
    };
    tags.iter().map(one).collect::<Vec<_>>().join(";")
}

/// The tags, if the text is named as [`NAME`] and is one that [`pack`] made.
pub(super) fn unpack(name: &str, text: &str) -> Option<Vec<Tag>> {
    if !name.trim().eq_ignore_ascii_case(NAME) {
        return None;
    }
    let one = |part: &str| {
        let (name, value) = part.split_once('=')?;
        let (group, name) = name.split_once('|').unwrap_or(("", name));
        Some(Tag {
            group: unescape(group)?,
            name: unescape(name)?,
            value: unescape(value)?,
        })
    };
    text.split(';').map(one).collect()
}

fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"_-./@".contains(&byte) {
            escaped.push(char::from(byte));
        } else {
            escaped.push_str(&format!("%{byte:02X}"));
        }
    }
    escaped
}

fn unescape(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let [byte, after @ ..] = rest {
        rest = after;
        if *byte == b'%' {
            let (digits, after) = rest.split_at_checked(2)?;
            bytes.push(u8::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()?);
            rest = after;
        } else {
            bytes.push(*byte);
        }
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn packed_tags_come_back() {
        let tags = [
            Tag::new("", ""),
            Tag::new("a b=c;d|e%", "ü\n\"x\""),
            Tag {
                group: "shop | floor".to_owned(),
                ..Tag::new("lot", "7")
            },
        ];
        let text = pack(&tags.iter().collect::<Vec<_>>());
        assert!(
            text.is_ascii() && !text.contains([' ', '"', '\n']),
            "{text}"
        );
        assert_eq!(unpack("secondcan_tags", &text), Some(tags.to_vec()));
        assert_eq!(unpack("lot", &text), None);
        for broken in ["a", "a=%", "a=%G0", "a=%FF", "a=1;"] {
            assert_eq!(unpack(NAME, broken), None, "{broken}");
        }
    }
}
