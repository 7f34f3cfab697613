//! `E12xx`: devicetree source.

crate::code::declare! {
    TREE_SYNTAX = Error "E1201", since "0.1.0", "The text is no devicetree source.";
    TREE_ELSEWHERE = Error "E1202", since "0.1.0", "A devicetree source needs the preprocessor or another file.";
    TREE_REFERENCE = Error "E1203", since "0.1.0", "A devicetree refers to a node that it does not have.";
    TREE_TWICE = Error "E1204", since "0.1.0", "A devicetree gives a name or a label twice.";
    TREE_VALUE = Error "E1205", since "0.1.0", "A value of a devicetree is none, or does not fit its cells.";
    TREE_CELLS = Error "E1206", since "0.1.0", "A property of a devicetree does not fit the cells declared for it.";
    TREE_RANGES = Error "E1207", since "0.1.0", "An address of a devicetree cannot be translated to the root.";
    TREE_RESERVED = Error "E1208", since "0.1.0", "Reserved memory of a devicetree contradicts itself or says too little.";
    TREE_MEMORY_TYPE = Warning "W1201", since "0.1.0", "A memory node of a devicetree has no device type.";
}
