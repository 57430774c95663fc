//! How much memory a file may ask for.

use crate::exchange::ExchangeError;

/// Bytes of memory for each byte of the file. Measured files keep well below: a value of two
/// digits and its separator need some thirty times their size.
const PER_BYTE: usize = 48;
/// What a small file may need on top.
const GROUND: usize = 64 * 1024;

/// What a reader may still keep. Everything that a file can multiply (cells, XML nodes, tags
/// copied to each reading) is paid for here, so that no file makes the reader take more than
/// [`PER_BYTE`] times its size.
pub(super) struct Budget {
    left: usize,
}

impl Budget {
    pub(super) fn of(file_bytes: usize) -> Self {
        Self {
            left: file_bytes.saturating_mul(PER_BYTE).saturating_add(GROUND),
        }
    }

    /// Pays for `bytes` to be kept.
    pub(super) fn spend(&mut self, bytes: usize) -> Result<(), ExchangeError> {
        self.left = self
            .left
            .checked_sub(bytes)
            .ok_or(ExchangeError::TooComplex)?;
        Ok(())
    }

    /// Pays for texts of these lengths, each with what its owner takes beside.
    pub(super) fn texts(&mut self, lengths: &[usize]) -> Result<(), ExchangeError> {
        const OWNER: usize = 32;
        self.spend(lengths.iter().map(|length| length + OWNER).sum())
    }
}
