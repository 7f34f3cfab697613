//! Verdicts composed and rendered: text, JSON, HTML.
