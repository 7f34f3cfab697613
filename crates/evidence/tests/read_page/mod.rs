//! The report as a general-purpose HTML parser reads it.

use evidence::{Dossier, html};
use scraper::{ElementRef, Html, Selector};

pub fn page(dossier: &Dossier) -> Html {
    let page = Html::parse_document(&html::report(dossier));
    assert!(page.errors.is_empty(), "{:?}", page.errors);
    page
}

pub fn all<'p>(page: &'p Html, selector: &str) -> Vec<ElementRef<'p>> {
    within(&page.root_element(), selector)
}

pub fn within<'p>(element: &ElementRef<'p>, selector: &str) -> Vec<ElementRef<'p>> {
    element.select(&Selector::parse(selector).expect("the selector is well formed")).collect()
}

pub fn words(element: &ElementRef<'_>) -> String {
    element.text().collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
}

pub fn number(element: &ElementRef<'_>, attribute: &str) -> f64 {
    element.attr(attribute).and_then(|text| text.parse().ok()).expect("the attribute is a number")
}
