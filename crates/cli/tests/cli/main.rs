//! Drives the binary in a folder of its own for every test.

mod apply;
mod audit;
mod compare;
mod convert;
mod documents;
mod exit_codes;
mod help;
mod interrupted;
mod json;
mod pages;
mod ramps;
mod repair;
mod study;
mod support;
mod verbs;
