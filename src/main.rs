fn main() -> std::process::ExitCode {
    shearbook::cli::main()
}
