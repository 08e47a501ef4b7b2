//! `catchword ports`.

use clap::Args;

#[derive(Args, Debug)]
pub struct PortsArgs {}

pub fn run(_args: PortsArgs) -> anyhow::Result<()> {
    anyhow::bail!("ports is not built yet")
}
