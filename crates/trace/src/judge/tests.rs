//! Each rule kept, nearly broken and broken, by recordings made by hand.
