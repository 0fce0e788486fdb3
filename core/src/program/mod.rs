//! Milling programs: read, rewritten for lost motion, and replayed on a slack machine.
