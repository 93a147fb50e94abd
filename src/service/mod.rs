//! What people and programs use: settings, use cases, the addresses and the commands.

pub mod app;
pub mod cli;
pub mod config;
pub mod web;
