//! `catchword demo`.

use clap::Args;

#[derive(Args, Debug)]
pub struct DemoArgs {}

pub fn run(_args: DemoArgs) -> anyhow::Result<()> {
    anyhow::bail!("demo is not built yet")
}
