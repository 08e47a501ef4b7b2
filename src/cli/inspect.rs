//! `catchword inspect`.

use clap::Args;

#[derive(Args, Debug)]
pub struct InspectArgs {}

pub fn run(_args: InspectArgs) -> anyhow::Result<()> {
    anyhow::bail!("inspect is not built yet")
}
