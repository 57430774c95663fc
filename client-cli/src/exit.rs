//! How a run ends: the exit codes, and the failure that carries what a person needs to mend it.

use std::fmt;

use serde::Serialize;

/// Exit codes, as scripts and checks rely on them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Exit {
    /// Done.
    Done = 0,
    /// Nothing found.
    NothingFound = 1,
    /// Bad input or usage.
    BadInput = 2,
    /// Not logged in, or not allowed.
    NotAllowed = 3,
    /// Not now: unreachable, time-out, too many tries.
    NotNow = 4,
    /// Someone else's change stands in the way.
    Conflict = 5,
    /// A fault of the program, the server, or this machine.
    Internal = 6,
}

impl Exit {
    /// The number.
    pub(crate) const fn code(self) -> u8 {
        self as u8
    }
}

/// Why a run failed. Boxed, since every call can return one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub(crate) struct Failure(Box<Told>);

/// What is told of a failure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
struct Told {
    #[serde(serialize_with = "as_number")]
    exit: Exit,
    code: String,
    message: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    field: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    value: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    remedy: Option<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    candidates: Vec<String>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    did_you_mean: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    request_id: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    kept_request: Option<String>,
}

#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde passes fields by reference"
)]
fn as_number<S: serde::Serializer>(exit: &Exit, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_u8(exit.code())
}

impl Failure {
    /// A failure of a kind; `code` is kebab-case.
    pub(crate) fn new(exit: Exit, code: &str, message: impl Into<String>) -> Self {
        Self(Box::new(Told {
            exit,
            code: code.to_owned(),
            message: message.into(),
            field: None,
            value: None,
            remedy: None,
            candidates: Vec::new(),
            did_you_mean: Vec::new(),
            request_id: None,
            kept_request: None,
        }))
    }

    /// A value that can't be taken.
    pub(crate) fn bad(field: &str, message: impl Into<String>) -> Self {
        let mut failure = Self::new(Exit::BadInput, "invalid-value", message);
        failure.0.field = Some(field.to_owned());
        failure
    }

    /// Nothing of that name or id.
    pub(crate) fn nothing(field: &str, message: impl Into<String>) -> Self {
        let mut failure = Self::new(Exit::NothingFound, "not-found", message);
        failure.0.field = Some(field.to_owned());
        failure
    }

    /// This machine failed: a file, a disk, a terminal.
    pub(crate) fn machine(doing: &str, error: &std::io::Error) -> Self {
        let failure = Self::new(Exit::Internal, "machine", format!("{doing}: {error}"));
        if error.kind() == std::io::ErrorKind::StorageFull {
            failure.remedy("the disk is full: make room and run the command again")
        } else {
            failure
        }
    }

    /// Names the field at fault.
    pub(crate) fn field(mut self, field: impl Into<String>) -> Self {
        self.0.field = Some(field.into());
        self
    }

    /// Names the value at fault.
    pub(crate) fn value(mut self, value: impl Into<String>) -> Self {
        self.0.value = Some(value.into());
        self
    }

    /// Says what to do.
    pub(crate) fn remedy(mut self, remedy: impl Into<String>) -> Self {
        self.0.remedy = Some(remedy.into());
        self
    }

    /// Lists what was meant perhaps.
    pub(crate) fn candidates(mut self, candidates: Vec<String>) -> Self {
        self.0.candidates = candidates;
        self
    }

    /// Lists label codes that exist and are near the one typed.
    pub(crate) fn did_you_mean(mut self, codes: Vec<String>) -> Self {
        self.0.did_you_mean = codes;
        self
    }

    /// Names the server's id of the request.
    pub(crate) fn request_id(mut self, id: Option<String>) -> Self {
        self.0.request_id = id;
        self
    }

    /// Names the request that was kept on this machine.
    pub(crate) fn kept(mut self, id: String) -> Self {
        self.0.remedy = Some(format!(
            "nothing typed is lost: send the same request again with `secondcan unsent send {id}`; it can't be saved twice"
        ));
        self.0.kept_request = Some(id);
        self
    }

    /// Says that what was typed waits on as before.
    pub(crate) fn still_kept(self, id: String) -> Self {
        let remedy = self.0.remedy.clone();
        let kept = self.kept(id.clone());
        match (kept.0.exit, remedy) {
            (Exit::NotNow, _) | (_, None) => kept,
            (_, Some(remedy)) => kept.remedy(format!(
                "{remedy}; it still waits here, `secondcan unsent drop {id}` forgets it"
            )),
        }
    }

    /// Whether what was typed waits on this machine.
    pub(crate) fn is_kept(&self) -> bool {
        self.0.kept_request.is_some()
    }

    /// How the program exits.
    pub(crate) fn exit(&self) -> Exit {
        self.0.exit
    }

    /// The code, kebab-case.
    #[cfg(test)]
    pub(crate) fn code(&self) -> &str {
        &self.0.code
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "error: {}", crate::output::plain(&self.0.message))?;
        let mut line = |name: &str, text: &Option<String>| match text {
            Some(text) => writeln!(f, "  {name}: {}", crate::output::plain(text)),
            None => Ok(()),
        };
        line("field", &self.0.field)?;
        line("value", &self.0.value)?;
        line("what to do", &self.0.remedy)?;
        line("request id", &self.0.request_id)?;
        for code in &self.0.did_you_mean {
            writeln!(f, "  did you mean {code}")?;
        }
        for candidate in &self.0.candidates {
            writeln!(f, "  - {}", crate::output::plain(candidate))?;
        }
        Ok(())
    }
}
