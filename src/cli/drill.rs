//! `catchword drill`.

use clap::Args;

#[derive(Args, Debug)]
pub struct DrillArgs {}

pub fn run(_args: DrillArgs) -> anyhow::Result<()> {
    anyhow::bail!("drill is not built yet")
}
