#![cfg(test)]
//! What a person does, and what comes of it.

mod bad_input;
mod bounds;
mod comparing;
mod confirmed;
mod earlier_told;
mod examiners;
mod felt;
mod files;
mod fixed_part;
mod from_anywhere;
mod from_elsewhere;
mod gentle;
mod goals;
mod held;
mod kept;
mod midnight;
mod moved;
mod notation;
mod odd_text;
mod own_codes;
mod planes;
mod precautions;
mod prompts;
mod read_aloud;
mod releases;
mod same_words;
mod second_form;
mod sheets;
mod shorthand;
mod signs;
mod summary;
mod visit;
mod who;

#[path = "../support/compared.rs"]
mod compared;
#[path = "../support/days.rs"]
mod days;
#[path = "../support/document.rs"]
mod document;
#[path = "../support/every.rs"]
mod every;
#[path = "../support/facts.rs"]
mod facts;
#[path = "../support/part.rs"]
mod part;
#[path = "../support/resource.rs"]
mod resource;
#[path = "../support/store.rs"]
mod store;
#[path = "../support/stretch_ranges.rs"]
mod stretch_ranges;
