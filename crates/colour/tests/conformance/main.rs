//! Checks against published figures: the tables in `../data`, whose README states the source of each,
//! and a few values printed in the standards, stated beside them.

mod matrices;
mod spaces;
mod table;
mod transfer;
mod visibility;
