//! Puts the memory map of the board where the linker finds it; does nothing for a host.

use std::{env, fs, path::PathBuf};

fn main() {
    println!("cargo::rerun-if-changed=boards");
    if env::var("CARGO_CFG_TARGET_ARCH").as_deref() != Ok("arm") {
        return;
    }
    // The emulated board is a Cortex-M4, the real one a Cortex-M0+.
    let real = env::var("TARGET").is_ok_and(|target| target.starts_with("thumbv6m"));
    let map = if real { "boards/rp2040.x" } else { "boards/mps2-an386.x" };
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::copy(map, out.join("memory.x")).expect("the memory map can be copied");
    println!("cargo::rustc-link-search={}", out.display());
    // Start-up code and sections come from the script of cortex-m-rt, those of the logs from defmt's.
    println!("cargo::rustc-link-arg-bins=-Tlink.x");
    // The filter must live in 4 KB of RAM: its stack begins there.
    println!("cargo::rustc-link-arg-bin=filter=--defsym=_stack_start=0x20001000");
    if env::var_os("CARGO_FEATURE_DEFMT").is_some() {
        println!("cargo::rustc-link-arg-bins=-Tdefmt.x");
    }
    // Sections at their own addresses, without padding to pages: nothing here is paged.
    println!("cargo::rustc-link-arg-bins=--nmagic");
}
