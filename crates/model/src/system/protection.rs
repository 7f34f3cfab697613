//! What stands against faults of what is exchanged between partitions.

use diagnostic::Located;
use serde::Serialize;

/// A way in which an exchange of information may fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum ExchangeFault {
    /// A message arrives once more.
    Repetition,
    /// A message does not arrive.
    Loss,
    /// A message arrives late.
    Delay,
    /// A message arrives that nobody has sent.
    Insertion,
    /// A message arrives as if from, or to, somebody else.
    Masquerade,
    /// Messages arrive in another order.
    Sequence,
    /// A message arrives changed.
    Corruption,
    /// Receivers of one message get different ones.
    Asymmetry,
    /// Only some of its receivers get a message.
    Subset,
    /// Somebody is kept from sending or receiving.
    Blocking,
}

impl ExchangeFault {
    /// Every kind, in the order in which people read about them.
    pub const ALL: [Self; 10] = [
        Self::Repetition,
        Self::Loss,
        Self::Delay,
        Self::Insertion,
        Self::Masquerade,
        Self::Sequence,
        Self::Corruption,
        Self::Asymmetry,
        Self::Subset,
        Self::Blocking,
    ];

    /// The word in files and answers.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Repetition => "repetition",
            Self::Loss => "loss",
            Self::Delay => "delay",
            Self::Insertion => "insertion",
            Self::Masquerade => "masquerade",
            Self::Sequence => "sequence",
            Self::Corruption => "corruption",
            Self::Asymmetry => "asymmetry",
            Self::Subset => "subset",
            Self::Blocking => "blocking",
        }
    }

    /// What happens, in a sentence.
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Repetition => "A message arrives once more.",
            Self::Loss => "A message does not arrive.",
            Self::Delay => "A message arrives late.",
            Self::Insertion => "A message arrives that nobody has sent.",
            Self::Masquerade => "A message arrives as if from somebody else, or at somebody else.",
            Self::Sequence => "Messages arrive in another order.",
            Self::Corruption => "A message arrives changed.",
            Self::Asymmetry => "Several receivers of one message get different ones.",
            Self::Subset => "Only some of several receivers get a message.",
            Self::Blocking => "Somebody is kept from sending or receiving.",
        }
    }
}

/// What is declared against one kind of fault.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub enum FaultAnswer {
    /// The measures that stand against it.
    Measures(Vec<String>),
    /// Why it cannot occur.
    CannotOccur(String),
}

/// What is declared against faults of an exchange: at most one answer for each kind.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Protection {
    /// The declared set of measures that it was taken from, where it has a name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The answers, in the order of the kinds.
    pub answers: Vec<(ExchangeFault, Located<FaultAnswer>)>,
}

impl Protection {
    /// What is declared against a kind of fault.
    pub fn against(&self, fault: ExchangeFault) -> Option<&FaultAnswer> {
        self.answers.iter().find(|(kind, _)| *kind == fault).map(|(_, answer)| &answer.value)
    }
}
