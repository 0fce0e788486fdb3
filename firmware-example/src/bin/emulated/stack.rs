//! How deep the stack has been: what lies below it is painted at the start, and looked at later.

/// So much of the memory below the stack is painted; more would take long to no use.
const PAINTED: usize = 64 * 1024;
/// Left alone below the caller: painting itself uses some.
const MARGIN: usize = 256;
const PAINT: u32 = 0xa5c3_5aa3;

unsafe extern "C" {
    /// Where the stack begins, from the linker script of cortex-m-rt.
    static _stack_start: u32;
    /// Where everything else in RAM ends.
    static __sheap: u32;
}

fn lowest() -> usize {
    let (start, end) = (&raw const _stack_start as usize, &raw const __sheap as usize);
    end.max(start.saturating_sub(PAINTED)).next_multiple_of(4)
}

/// Paints the memory below the stack. Call it first of all.
#[inline(never)]
pub fn paint() {
    let here = 0_u32;
    let end = (&raw const here as usize).saturating_sub(MARGIN);
    for place in (lowest()..end).step_by(4) {
        // SAFETY: between the end of all data and well below the stack pointer nothing lives.
        unsafe { core::ptr::write_volatile(place as *mut u32, PAINT) };
    }
}

/// The most bytes of stack used since.
pub fn used() -> usize {
    let start = &raw const _stack_start as usize;
    // SAFETY: RAM from the end of all data up to the start of the stack; reading changes nothing.
    let touched = (lowest()..start)
        .step_by(4)
        .find(|place| unsafe { core::ptr::read_volatile(*place as *const u32) } != PAINT);
    touched.map_or(0, |place| start - place)
}
