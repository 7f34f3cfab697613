//! Growth rules: of a whole at most all is left over, and milestones are there to be compared with.

use crate::read::{Context, Document, Fields, is_share_of_whole};
use diagnostic::Diagnostic;
use diagnostic::codes::policy::{MORE_THAN_ALL, NO_MILESTONE};
use quantity::Ppm;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    doc.root.tables("growth_rule").filter_map(more_than_all).for_each(|fault| cx.report(fault));
    let Some(system) = doc.root.table("system").filter(|system| !system.has("milestone")) else { return };
    if let Some(milestone) = doc.root.tables("growth_rule").find_map(|rule| rule.text("milestone")) {
        let message = format!("a growth rule is judged at \"{}\", and [system] has no `milestone`", milestone.value);
        let fault = Diagnostic::new(&NO_MILESTONE, milestone.span, message).also(system.span, "no milestone here");
        let help = format!("no such rule is judged as it stands; add milestone = \"{}\" to judge it", milestone.value);
        cx.report(fault.help(help));
    }
}

fn more_than_all(rule: &Fields) -> Option<Diagnostic> {
    let share = rule.share("at_least").filter(|share| share.value > Ppm::ONE && is_share_of_whole(rule))?;
    let on = rule.text("on")?;
    let message = format!("{} of {} is to be left over, more than there is", share.value, on.value);
    let fault = Diagnostic::new(&MORE_THAN_ALL, share.span, message).also(on.span, "of this");
    Some(fault.help("write a share of at most \"100 %\""))
}
