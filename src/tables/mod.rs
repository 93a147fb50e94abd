//! What we know as data: the tables of `profiles/`, and what is generated from them.

pub mod catalogue;
