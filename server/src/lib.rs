//! secondcan
