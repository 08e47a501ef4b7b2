//! What carries a player through an evening: stories for slips, joins, a session of some minutes.

mod joins;
mod sitting;
mod slips;
mod stories;
mod told;
mod turns;
