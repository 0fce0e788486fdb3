//! Numbers into corrected motion: the compensation table, and set-points corrected in a controller.
