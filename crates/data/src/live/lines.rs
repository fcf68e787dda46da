//! Bytes into lines, whatever comes: a line that is too long is passed over up to its end.

/// Cuts bytes into lines of at most `most` bytes.
#[derive(Debug)]
pub(super) struct Lines {
    most: usize,
    line: Vec<u8>,
    too_long: bool,
}

impl Lines {
    pub(super) fn new(most: usize) -> Self {
        Self { most, line: Vec::new(), too_long: false }
    }

    /// Takes bytes; calls `each` with every whole line, and with `None` for one that was too long.
    pub(super) fn take(&mut self, bytes: &[u8], each: &mut dyn FnMut(Option<&[u8]>)) {
        for &byte in bytes {
            if byte == b'\n' || byte == b'\r' {
                if self.too_long {
                    each(None);
                } else if !self.line.is_empty() {
                    each(Some(&self.line));
                }
                self.line.clear();
                self.too_long = false;
            } else if self.line.len() < self.most {
                self.line.push(byte);
            } else {
                self.too_long = true;
            }
        }
    }
}
