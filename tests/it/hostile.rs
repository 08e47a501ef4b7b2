//! Input that means harm, or is only broken: files made to blow up, to reach elsewhere, to steer the terminal.

mod escapes;
mod kept;
mod limits;
mod pages;
