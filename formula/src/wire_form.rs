//! How the types of this crate stand on the wire: one macro per kind of value, so that the text a
//! type prints, the text it reads, its serde form and its published schema cannot drift apart.
//!
//! The schemas say exactly what the parsers take (pattern, length, range), because fuzzing against
//! the published API description holds the server to it.

/// Gives a type with `Display` and `FromStr` its serde form and schema: one JSON string.
///
/// `format` is left out on purpose even for UUIDs: generators that see both a format and a pattern
/// draw from the format and then discard nearly everything.
macro_rules! text_type {
    ($type:ident, what: $what:literal, description: $description:expr, pattern: $pattern:expr,
     length: $min:expr, $max:expr, example: $example:expr) => {
        impl TryFrom<String> for $type {
            type Error = <$type as std::str::FromStr>::Err;

            fn try_from(text: String) -> Result<Self, Self::Error> {
                text.parse()
            }
        }

        impl TryFrom<&str> for $type {
            type Error = <$type as std::str::FromStr>::Err;

            fn try_from(text: &str) -> Result<Self, Self::Error> {
                text.parse()
            }
        }

        impl serde::Serialize for $type {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }

        impl<'de> serde::Deserialize<'de> for $type {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Text;
                impl serde::de::Visitor<'_> for Text {
                    type Value = $type;

                    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                        f.write_str(concat!($what, " as text"))
                    }

                    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<$type, E> {
                        text.parse().map_err(E::custom)
                    }
                }
                deserializer.deserialize_str(Text)
            }
        }

        impl utoipa::PartialSchema for $type {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::schema::Schema> {
                utoipa::openapi::schema::ObjectBuilder::new()
                    .schema_type(utoipa::openapi::schema::Type::String)
                    .description(Some($description))
                    .pattern(Some($pattern))
                    .min_length(Some($min))
                    .max_length(Some($max))
                    .examples([serde_json::Value::from($example)])
                    .into()
            }
        }

        impl utoipa::ToSchema for $type {}
    };
}

/// Declares an enum whose wire names are a closed list: Display, FromStr, serde, schema, `ALL`.
///
/// An unknown name is refused with the whole list.
macro_rules! closed_enum {
    ($(#[$meta:meta])* pub enum $type:ident, what: $what:literal {
        $($(#[$variant_meta:meta])* $variant:ident => $name:literal,)+
    }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $type {
            $($(#[$variant_meta])* $variant,)+
        }

        impl $type {
            /// Every value, in the order declared.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The wire name.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self {
                    $(Self::$variant => $name,)+
                }
            }
        }

        impl std::fmt::Display for $type {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(self.as_str())
            }
        }

        impl std::str::FromStr for $type {
            type Err = $crate::wire_form::UnknownName;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                Self::ALL
                    .iter()
                    .copied()
                    .find(|value| value.as_str() == text)
                    .ok_or_else(|| $crate::wire_form::UnknownName::new($what, text, &[$($name,)+]))
            }
        }

        impl TryFrom<&str> for $type {
            type Error = $crate::wire_form::UnknownName;

            fn try_from(text: &str) -> Result<Self, Self::Error> {
                text.parse()
            }
        }

        impl serde::Serialize for $type {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.as_str())
            }
        }

        impl<'de> serde::Deserialize<'de> for $type {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Name;
                impl serde::de::Visitor<'_> for Name {
                    type Value = $type;

                    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                        f.write_str(concat!($what, " as text, one of"))?;
                        $(write!(f, " `{}`", $name)?;)+
                        Ok(())
                    }

                    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<$type, E> {
                        text.parse().map_err(E::custom)
                    }
                }
                deserializer.deserialize_str(Name)
            }
        }

        impl utoipa::PartialSchema for $type {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::schema::Schema> {
                utoipa::openapi::schema::ObjectBuilder::new()
                    .schema_type(utoipa::openapi::schema::Type::String)
                    .description(Some($what))
                    .enum_values(Some([$($name,)+]))
                    .into()
            }
        }

        impl utoipa::ToSchema for $type {}
    };
}

/// Gives a newtype over `u32` with `new(i128) -> Result<Self, _>` and `get()` its serde form and
/// schema: one whole JSON number in a closed range.
///
/// The error of `new` is the one a reader of JSON sees too, also for negative, fractional and
/// oversized numbers, which a plain `u32` would answer with a type name.
macro_rules! whole_number {
    ($type:ident, what: $what:literal, description: $description:expr, range: $min:expr, $max:expr,
     example: $example:expr) => {
        impl serde::Serialize for $type {
            fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_u32(self.get())
            }
        }

        impl<'de> serde::Deserialize<'de> for $type {
            fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Whole;
                impl serde::de::Visitor<'_> for Whole {
                    type Value = $type;

                    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                        write!(
                            f,
                            concat!($what, ", a whole number from {} to {}"),
                            $min, $max
                        )
                    }

                    fn visit_u64<E: serde::de::Error>(self, number: u64) -> Result<$type, E> {
                        $type::new(i128::from(number)).map_err(E::custom)
                    }

                    fn visit_i64<E: serde::de::Error>(self, number: i64) -> Result<$type, E> {
                        $type::new(i128::from(number)).map_err(E::custom)
                    }

                    // JSON Schema counts 2.0 as an integer, so it is one here too; 2.5 is not.
                    fn visit_f64<E: serde::de::Error>(self, number: f64) -> Result<$type, E> {
                        match $crate::wire_form::whole(number) {
                            Some(whole) => $type::new(whole).map_err(E::custom),
                            None => Err(E::custom(format_args!(
                                concat!(
                                    $what,
                                    " {} is not a whole number from {} to {}: give whole steps only"
                                ),
                                number, $min, $max
                            ))),
                        }
                    }
                }
                deserializer.deserialize_any(Whole)
            }
        }

        impl utoipa::PartialSchema for $type {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::schema::Schema> {
                utoipa::openapi::schema::ObjectBuilder::new()
                    .schema_type(utoipa::openapi::schema::Type::Integer)
                    .description(Some($description))
                    .minimum(Some(f64::from($min)))
                    .maximum(Some(f64::from($max)))
                    .examples([serde_json::Value::from($example)])
                    .into()
            }
        }

        impl utoipa::ToSchema for $type {}
    };
}

pub(crate) use {closed_enum, text_type, whole_number};

/// A name outside a closed list.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what} {text:?} is not known: use one of {}", .known.join(", "))]
pub struct UnknownName {
    what: &'static str,
    text: String,
    known: Vec<&'static str>,
}

impl UnknownName {
    pub(crate) fn new(what: &'static str, text: &str, known: &[&'static str]) -> Self {
        Self {
            what,
            text: shown(text),
            known: known.to_vec(),
        }
    }

    /// The wire names that are known.
    #[must_use]
    pub fn known(&self) -> &[&'static str] {
        &self.known
    }
}

/// The whole number that a JSON float stands for; `None` if it has a fraction or no exact integer.
pub(crate) fn whole(number: f64) -> Option<i128> {
    const EXACT: f64 = 9_007_199_254_740_992.0;
    if number.fract() == 0.0 && number.abs() <= EXACT {
        let whole = number as i128;
        Some(whole)
    } else {
        None
    }
}

/// The text as an error message may show it: at most 60 characters.
pub(crate) fn shown(text: &str) -> String {
    const LIMIT: usize = 60;
    if text.chars().nth(LIMIT).is_none() {
        text.to_owned()
    } else {
        let mut cut: String = text.chars().take(LIMIT).collect();
        cut.push('…');
        cut
    }
}
