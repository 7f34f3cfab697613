//! Memory regions: names unlike those of partitions, rights that can be read, each partition at most once.

use super::name;
use crate::read::{Context, Document, Fields, is_shared, owning_partition, rights_of};
use diagnostic::codes::channel::{ACCESS_TWICE, BAD_RIGHTS, SHARED_WITH_NOBODY};
use diagnostic::codes::shape::{DUPLICATE_NAME, KEY_ALONE};
use diagnostic::{Diagnostic, Span};
use std::collections::BTreeMap;

pub(super) fn check(doc: &Document, cx: &mut Context) {
    for region in doc.root.tables("region") {
        named_like_partition(doc, region).into_iter().for_each(|fault| cx.report(fault));
        bad_rights(region, "owner_rights").into_iter().for_each(|fault| cx.report(fault));
        owner_of_shared(region).into_iter().for_each(|fault| cx.report(fault));
        region.tables("access").filter_map(|access| bad_rights(access, "rights")).for_each(|fault| cx.report(fault));
        access_twice(region, cx);
        if is_shared(region) && region.list("access").is_empty() {
            let message = format!("region {} is shared and no partition has access to it", name(region));
            let fault = Diagnostic::new(&SHARED_WITH_NOBODY, region.span, message);
            cx.report(fault.help("add `access` with those that use it, or leave the region out"));
        }
    }
}

fn named_like_partition(doc: &Document, region: &Fields) -> Option<Diagnostic> {
    let own = region.text("name")?;
    let partition = doc.names.partitions.place(doc.names.partitions.get(&own.value)?)?;
    let message = format!("a region and a partition have the name `{}`", own.value);
    let fault = Diagnostic::new(&DUPLICATE_NAME, own.span, message).also(partition, "the partition");
    Some(fault.help("a plan places both by name: give the region a name of its own"))
}

fn owner_of_shared(region: &Fields) -> Option<Diagnostic> {
    let rights = region.key_span("owner_rights").filter(|_| is_shared(region))?;
    let message = format!("region {} is shared, and `owner_rights` speaks of an owner", name(region));
    Some(Diagnostic::new(&KEY_ALONE, rights, message).help("give all rights in `access`, or name an owner"))
}

fn bad_rights(fields: &Fields, key: &str) -> Option<Diagnostic> {
    let rights = fields.text(key).filter(|rights| rights_of(&rights.value).is_none())?;
    let message = format!("`{key}` is \"{}\", which is no set of the letters r, w and x", rights.value);
    let help = "write r to read, w to write, x to execute, each at most once, such as \"rw\"";
    Some(Diagnostic::new(&BAD_RIGHTS, rights.span, message).help(help))
}

fn access_twice(region: &Fields, cx: &mut Context) {
    let mut first: BTreeMap<String, (Span, &str)> = BTreeMap::new();
    first.extend(owning_partition(region).map(|owner| (owner.value, (owner.span, "the owner, who has every access"))));
    for partition in region.tables("access").filter_map(|access| access.text("partition")) {
        let Some((before, what)) = first.get(&partition.value) else {
            first.insert(partition.value, (partition.span, "first here"));
            continue;
        };
        let message = format!("region {} gives access to `{}` twice", name(region), partition.value);
        let fault = Diagnostic::new(&ACCESS_TWICE, partition.span, message).also(*before, *what);
        cx.report(fault.help("say it once, with all rights"));
    }
}
