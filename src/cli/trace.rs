//! `catchword trace`.

use clap::Args;

#[derive(Args, Debug)]
pub struct TraceArgs {}

pub fn run(_args: TraceArgs) -> anyhow::Result<()> {
    anyhow::bail!("trace is not built yet")
}
