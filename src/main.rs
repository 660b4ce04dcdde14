/// Reading many small records is half the work of an allocator; this one does it faster.
/// Huge pages would make a small run hold a third more memory, and a large one no faster.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    shearbook::cli::main()
}
