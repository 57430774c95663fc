//! secondcan
fn main() {}
