//! Dial readings in; lost motion, its uncertainty, a decision and a likely cause out.
