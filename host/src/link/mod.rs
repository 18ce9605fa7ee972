//! Links to a probe: in-process, pty and serial port behind one trait.
