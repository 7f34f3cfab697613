//! Expected values against answers, exactly or by the rounding that the case names.

use crate::case::{Case, Rounding, leaves};
use serde::Serialize;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// What a method answers for the fields of a case; it may answer more than the case expects.
pub type Answers = BTreeMap<String, Answer>;

pub enum Answer {
    /// A whole number, a word, a list or a yes.
    Value(Value),
    /// An exact fraction, compared after rounding as the source did.
    Share(Share),
    /// A number of floating point, compared after rounding to the places of the source.
    Estimate(f64),
    /// Answers by name.
    Table(Answers),
}

/// The sum of `parts` out of `whole`.
pub struct Share {
    pub parts: Vec<u128>,
    pub whole: u128,
}

/// One line of the validation table.
#[derive(Serialize)]
pub struct Row {
    pub id: String,
    pub title: String,
    pub what: String,
    pub source: String,
    pub provenance: String,
    pub kind: String,
    pub expected: String,
    pub ours: String,
    pub agrees: bool,
    #[serde(skip)]
    pub area: String,
    #[serde(skip)]
    pub values: usize,
}

/// The lines of one case.
///
/// # Errors
/// Where nothing answers an expected field, or a rounding stands at a field that is no fraction.
pub fn rows(case: &Case, answers: &Answers) -> Result<Vec<Row>, String> {
    let published = case.expected.iter().map(|field| (field, case.kind.as_str()));
    let derived = case.derived.iter().map(|field| (field, "recomputed independently"));
    published.chain(derived).map(|((field, expected), kind)| row(case, answers, field, expected, kind)).collect()
}

fn row(case: &Case, answers: &Answers, field: &str, expected: &Value, kind: &str) -> Result<Row, String> {
    let answer = answers.get(field).ok_or_else(|| format!("nothing compares {field}"))?;
    let rounding = case.rounding.get(field).copied().unwrap_or_default();
    let (ours, agrees) = judge(field, expected, answer, rounding)?;
    Ok(Row {
        id: case.id.clone(),
        title: case.title.clone(),
        what: field.to_owned(),
        source: case.source.short.clone(),
        provenance: case.provenance.to_string(),
        kind: kind.to_owned(),
        expected: plain(expected),
        ours,
        agrees,
        area: case.area.clone(),
        values: leaves(expected),
    })
}

fn judge(field: &str, expected: &Value, answer: &Answer, rounding: Rounding) -> Result<(String, bool), String> {
    match answer {
        Answer::Value(_) if rounding != Rounding::Exact => Err(format!("{field} is no fraction, so nothing rounds it")),
        Answer::Value(ours) => Ok((plain(ours), ours == expected)),
        Answer::Share(share) => judge_share(field, expected, share, rounding),
        Answer::Estimate(ours) => judge_estimate(field, expected, *ours, rounding),
        Answer::Table(answers) => judge_table(field, expected, answers, rounding),
    }
}

fn judge_table(field: &str, expected: &Value, ours: &Answers, rounding: Rounding) -> Result<(String, bool), String> {
    let expected = expected.as_object().ok_or_else(|| format!("{field} is a table"))?;
    let mut texts = Vec::new();
    let mut all_agree = !expected.is_empty();
    for (name, expected) in by_name(expected) {
        let answer = ours.get(name).ok_or_else(|| format!("nothing compares {field} of {name}"))?;
        let (text, agrees) = judge(name, expected, answer, rounding)?;
        texts.push(entry(name, &text, expected.is_object()));
        all_agree &= agrees;
    }
    Ok((texts.join(", "), all_agree))
}

fn judge_share(field: &str, expected: &Value, share: &Share, rounding: Rounding) -> Result<(String, bool), String> {
    let (digits, places) = decimal(expected).ok_or_else(|| format!("{field} is a decimal text or a whole number"))?;
    let ours = share.rounded(rounding, places);
    let text = match ours {
        Some(ours) if rounding == Rounding::Exact => decimal_text(ours, places),
        Some(ours) => format!("{} ({})", decimal_text(ours, places), share.fraction()),
        None => share.fraction(),
    };
    Ok((text, ours == Some(digits)))
}

fn judge_estimate(field: &str, expected: &Value, ours: f64, rounding: Rounding) -> Result<(String, bool), String> {
    let text = expected.as_str().filter(|_| rounding == Rounding::HalfUp);
    let text = text.ok_or_else(|| format!("{field} is a decimal text that its source rounded to the nearest"))?;
    let places = text.split_once('.').map_or(0, |(_, places)| places.len());
    let rounded = format!("{ours:.places$}");
    // Three places more than the source has show how close it was.
    Ok((format!("{rounded} ({ours:.more$})", more = places + 3), rounded == text))
}

impl Share {
    /// The digits at `places` decimal places; none where an exact value needs more places.
    pub fn rounded(&self, rounding: Rounding, places: u32) -> Option<u128> {
        let scaled = |part: u128| part * 10u128.pow(places);
        let half_up = |part: u128| (2 * scaled(part) + self.whole) / (2 * self.whole);
        let sum: u128 = self.parts.iter().sum();
        match rounding {
            Rounding::Exact => (scaled(sum) % self.whole == 0).then(|| scaled(sum) / self.whole),
            Rounding::HalfUp => Some(half_up(sum)),
            Rounding::TermsHalfUp => Some(self.parts.iter().map(|&part| half_up(part)).sum()),
            Rounding::Up => Some(scaled(sum).div_ceil(self.whole)),
            Rounding::Down => Some(scaled(sum) / self.whole),
        }
    }

    /// The sum in lowest terms.
    pub fn fraction(&self) -> String {
        let sum: u128 = self.parts.iter().sum();
        let (mut common, mut rest) = (sum, self.whole);
        while rest > 0 {
            (common, rest) = (rest, common % rest);
        }
        format!("{}/{}", sum / common, self.whole / common)
    }
}

/// `"0.82"` as 82 at 2 places.
pub fn decimal(value: &Value) -> Option<(u128, u32)> {
    let text = value.as_u64().map_or_else(|| value.as_str().map(str::to_owned), |whole| Some(whole.to_string()))?;
    let (whole, places) = text.split_once('.').unwrap_or((&text, ""));
    Some((format!("{whole}{places}").parse().ok()?, places.len() as u32))
}

pub fn decimal_text(digits: u128, places: u32) -> String {
    let unit = 10u128.pow(places);
    if places == 0 {
        digits.to_string()
    } else {
        format!("{}.{:0w$}", digits / unit, digits % unit, w = places as usize)
    }
}

fn plain(value: &Value) -> String {
    match value {
        Value::Null => "none".into(),
        Value::Bool(yes) => if *yes { "yes" } else { "no" }.into(),
        Value::Number(number) => number.to_string(),
        Value::String(text) => text.clone(),
        Value::Array(items) => format!("[{}]", items.iter().map(plain).collect::<Vec<_>>().join(", ")),
        Value::Object(fields) => {
            let texts = by_name(fields).into_iter().map(|(name, value)| entry(name, &plain(value), value.is_object()));
            texts.collect::<Vec<_>>().join(", ")
        }
    }
}

fn entry(name: &str, text: &str, is_table: bool) -> String {
    let name = name.replace('_', " ");
    if is_table { format!("{name} ({text})") } else { format!("{name}: {text}") }
}

/// The fields in the order of their names, numbers by their size.
fn by_name(fields: &Map<String, Value>) -> Vec<(&String, &Value)> {
    let mut fields: Vec<_> = fields.iter().collect();
    fields.sort_by_key(|(name, _)| name.parse::<u64>().ok());
    fields
}
