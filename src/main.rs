use std::process::ExitCode;

fn main() -> ExitCode {
    catchword::cli::run()
}
