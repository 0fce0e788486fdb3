//! A probe box around `takeup-core`, generic over `embedded-hal`.
#![no_std]
#![forbid(unsafe_code)]
