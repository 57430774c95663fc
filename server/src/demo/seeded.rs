//! Numbers that look random and are the same on every machine: SplitMix64 (Steele, Lea & Flood 2014, constants from
//! memory). Written out here because no generator of a library promises the same stream in its next version.

/// A stream of numbers that follows from its seed.
#[derive(Debug, Clone)]
pub(super) struct Seeded(u64);

impl Seeded {
    /// One stream a purpose, so that a change in one part of the demo does not reshuffle the others.
    pub(super) fn new(purpose: &str) -> Self {
        let seed = purpose.bytes().fold(0x5ec0_dca2, |seed: u64, byte| {
            seed.rotate_left(7).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ u64::from(byte)
        });
        Self(seed)
    }

    pub(super) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// From 0 up to, not including, 1.
    pub(super) fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// From `low` up to `high`.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// From 0 up to, not including, `end`. The bias of the remainder is far below what a demo could show.
    pub(super) fn below(&mut self, end: usize) -> usize {
        (self.bits() % end.max(1) as u64) as usize
    }

    pub(super) fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// One of them; the slice must not be empty.
    pub(super) fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.below(from.len())]
    }

    /// Mean 0, deviation 1: the sum of twelve uniforms less six, which needs no library function whose last digit
    /// differs between machines.
    pub(super) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }

    /// The random part of a UUIDv7.
    pub(super) fn ten_bytes(&mut self) -> [u8; 10] {
        let mut bytes = [0; 10];
        bytes[..8].copy_from_slice(&self.bits().to_be_bytes());
        bytes[8..].copy_from_slice(&self.bits().to_be_bytes()[..2]);
        bytes
    }
}
