//! `review` against published values, against plans with known sneak paths,
//! and against the clock.

mod command;
mod numbers;
mod round_trip;
mod rules;
mod scale;
mod sneak;
mod support;
mod tutorial;
