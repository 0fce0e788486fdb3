//! The terminal as a program finds it.

/// Sets the terminal right that a killed program has left without echo and without line ends, and says whether it was so.
///
/// A program that is killed outright cannot give its terminal back. Most shells do it for it; where none does, the next
/// start here would take the raw terminal for the usual one, and leave it so.
#[cfg(unix)]
pub fn set_right() -> bool {
    use rustix::termios::{InputModes, LocalModes, OptionalActions, OutputModes, tcgetattr, tcsetattr};
    let stdin = std::io::stdin();
    let Ok(mut settings) = tcgetattr(&stdin) else { return false };
    if settings.local_modes.intersects(LocalModes::ICANON | LocalModes::ECHO) {
        return false;
    }
    settings.local_modes |=
        LocalModes::ICANON | LocalModes::ECHO | LocalModes::ECHOE | LocalModes::ISIG | LocalModes::IEXTEN;
    settings.input_modes |= InputModes::ICRNL | InputModes::IXON | InputModes::BRKINT;
    settings.output_modes |= OutputModes::OPOST | OutputModes::ONLCR;
    tcsetattr(&stdin, OptionalActions::Now, &settings).is_ok()
}

/// Elsewhere the terminal is the system's, and given back by it.
#[cfg(not(unix))]
pub fn set_right() -> bool {
    false
}
