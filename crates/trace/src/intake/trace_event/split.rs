//! Finds the objects of the list of events in a JSON text that comes in blocks, without reading what is in them.

/// An object may be so long.
const LONGEST: usize = 1 << 20;
/// A key beside the list may be so long.
const LONGEST_KEY: usize = 256;

/// Where in the text the next byte stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Before anything.
    Start,
    /// In the outer object: before a key.
    Key,
    /// In the outer object: within a key.
    InKey,
    /// In the outer object: before a value.
    Value,
    /// In the outer object: within a value that is passed over.
    Passed,
    /// In the list: before an element.
    Element,
    /// In the list: within an object.
    Object,
    /// Behind everything.
    End,
}

/// What the text is not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// It begins with neither a list nor an object.
    Begin,
    /// The list holds something that is no object.
    Element,
    /// An object is too long.
    Long,
    /// The outer object is not well formed.
    Outer,
}

/// Finds the objects.
#[derive(Debug)]
pub struct Split {
    state: State,
    /// Whether the list stands in an object.
    outer: bool,
    /// How many brackets are open within what is being passed or kept, and whether it is within a text or behind a backslash.
    depth: u32,
    in_text: bool,
    escaped: bool,
    key: Vec<u8>,
    object: Vec<u8>,
    /// Whether the list has been found.
    pub found_list: bool,
    /// The byte that comes next.
    pub at: u64,
    /// The byte at which the object in hand begins.
    pub begins: u64,
}

impl Default for Split {
    fn default() -> Self {
        Self {
            state: State::Start,
            outer: false,
            depth: 0,
            in_text: false,
            escaped: false,
            key: Vec::new(),
            object: Vec::new(),
            found_list: false,
            at: 0,
            begins: 0,
        }
    }
}

impl Split {
    /// Takes the next bytes; calls `each` with the first byte's place and the text of each object.
    pub fn feed(&mut self, bytes: &[u8], mut each: impl FnMut(u64, &[u8])) -> Result<(), Fault> {
        for byte in bytes {
            self.byte(*byte, &mut each)?;
            self.at += 1;
        }
        Ok(())
    }

    /// Whether the text has ended as it should.
    pub fn complete(&self) -> bool {
        self.state == State::End
    }

    fn byte(&mut self, byte: u8, each: &mut impl FnMut(u64, &[u8])) -> Result<(), Fault> {
        match self.state {
            State::Start if self.at < 3 && [0xEF, 0xBB, 0xBF].contains(&byte) => {}
            State::InKey => self.in_key(byte)?,
            State::Passed => self.passed(byte),
            State::Object => self.object(byte, each)?,
            State::End => {}
            _ if byte.is_ascii_whitespace() || byte == b',' => {}
            State::Start => match byte {
                b'[' => self.list(),
                b'{' => {
                    self.outer = true;
                    self.state = State::Key;
                }
                _ => return Err(Fault::Begin),
            },
            State::Key => match byte {
                b'"' => {
                    self.key.clear();
                    self.state = State::InKey;
                }
                b'}' => self.state = State::End,
                _ => return Err(Fault::Outer),
            },
            State::Value => match byte {
                b':' => {}
                b'[' if self.key == b"traceEvents" => self.list(),
                _ => {
                    (self.depth, self.in_text, self.escaped, self.state) = (0, false, false, State::Passed);
                    self.passed(byte);
                }
            },
            State::Element => match byte {
                b'{' => {
                    self.begins = self.at;
                    self.object.clear();
                    (self.depth, self.in_text, self.escaped, self.state) = (0, false, false, State::Object);
                    self.object(byte, each)?;
                }
                b']' => self.state = if self.outer { State::Key } else { State::End },
                _ => return Err(Fault::Element),
            },
        }
        Ok(())
    }

    fn list(&mut self) {
        self.found_list = true;
        self.state = State::Element;
    }

    fn in_key(&mut self, byte: u8) -> Result<(), Fault> {
        match byte {
            b'"' => self.state = State::Value,
            _ if self.key.len() == LONGEST_KEY => return Err(Fault::Outer),
            _ => self.key.push(byte),
        }
        Ok(())
    }

    /// Counts brackets outside texts. `true`: all that were open are closed.
    fn closes(&mut self, byte: u8) -> bool {
        if self.in_text {
            match byte {
                _ if self.escaped => self.escaped = false,
                b'\\' => self.escaped = true,
                b'"' => self.in_text = false,
                _ => {}
            }
            return false;
        }
        match byte {
            b'"' => self.in_text = true,
            b'{' | b'[' => self.depth += 1,
            b'}' | b']' => {
                self.depth = self.depth.saturating_sub(1);
                return self.depth == 0;
            }
            _ => {}
        }
        false
    }

    /// A value is passed with the comma behind it, or with the bracket that closes the outer object.
    fn passed(&mut self, byte: u8) {
        if self.depth == 0 && !self.in_text {
            match byte {
                b',' => return self.state = State::Key,
                b'}' => return self.state = State::End,
                _ => {}
            }
        }
        self.closes(byte);
    }

    fn object(&mut self, byte: u8, each: &mut impl FnMut(u64, &[u8])) -> Result<(), Fault> {
        if self.object.len() == LONGEST {
            return Err(Fault::Long);
        }
        self.object.push(byte);
        if self.closes(byte) {
            each(self.begins, &self.object);
            self.state = State::Element;
        }
        Ok(())
    }
}
