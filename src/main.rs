/// Reading many small records is half the work of an allocator; this one does it faster.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    shearbook::cli::main()
}
