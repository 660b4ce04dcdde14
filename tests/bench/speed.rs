//! How fast shearbook is, told as ratios to baselines that run beside it on the same files: `cargo bench --bench speed`.
//!
//! The baselines are this very program, started again with `--bare`, so that both sides pay for a process of their own.

#![expect(
    clippy::disallowed_methods,
    reason = "a benchmark makes its own book and asks the clock"
)]

use rayon::prelude::*;
use std::fmt::Write as _;
use std::fs;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

const SHEARBOOK: &str = env!("CARGO_BIN_EXE_shearbook");
const PROJECT: &str = env!("CARGO_MANIFEST_DIR");
const INSTRUMENTS: usize = 300;
const PEER_CHECKS: usize = 5_000;
const FACT_FOLDERS: [&str; 7] = [
    "policies",
    "people",
    "geometries",
    "fluids",
    "thermometers",
    "baths",
    "instruments",
];

struct Options {
    rounds: usize,
    checks: usize,
    peers: bool,
    dir: Option<PathBuf>,
    only: Option<String>,
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if let [first, rest @ ..] = &arguments[..] {
        match (first.as_str(), rest) {
            ("--bare", [what, dir]) => return bare(what == "parse", Path::new(dir)),
            ("--memory", command) if !command.is_empty() => return memory(command),
            _ => {}
        }
    }
    match options(&arguments) {
        Ok(options) => match bench(&options) {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => {
                eprintln!("speed: {error}");
                ExitCode::from(3)
            }
        },
        Err(message) => {
            eprintln!("speed: {message}");
            ExitCode::from(2)
        }
    }
}

fn options(arguments: &[String]) -> Result<Options, String> {
    let mut options = Options {
        rounds: 21,
        checks: 100_000,
        peers: false,
        dir: None,
        only: None,
    };
    let mut rest = arguments.iter();
    while let Some(argument) = rest.next() {
        let mut value = || rest.next().ok_or(format!("{argument} needs a value"));
        let number = |text: &String| {
            let number = text.parse::<usize>().ok().filter(|number| *number > 0);
            number.ok_or(format!("{text} is no count"))
        };
        match argument.as_str() {
            // What cargo itself passes to a benchmark.
            "--bench" => {}
            "--rounds" => options.rounds = number(value()?)?,
            "--checks" => options.checks = number(value()?)?,
            "--dir" => options.dir = Some(PathBuf::from(value()?)),
            "--only" => options.only = Some(value()?.clone()),
            "--peers" => options.peers = true,
            _ => {
                return Err(format!(
                    "unknown {argument}; there are --rounds N, --checks N, --only validate|fleet|gate|plan, --peers, --dir DIR (keep what is made)"
                ));
            }
        }
    }
    Ok(options)
}

// --- the baselines ---

/// Reads all records below a folder, and parses them where asked; nothing else.
fn bare(parse: bool, dir: &Path) -> ExitCode {
    let mut files = Vec::new();
    let visible =
        |entry: &walkdir::DirEntry| !entry.file_name().as_encoded_bytes().starts_with(b".");
    for entry in walkdir::WalkDir::new(dir)
        .min_depth(1)
        .into_iter()
        .filter_entry(visible)
    {
        let entry = entry.expect("entry");
        if entry.file_type().is_file() {
            files.push(entry.into_path());
        }
    }
    let sum: usize = files
        .par_iter()
        .map(|path| {
            let mut bytes = Vec::new();
            let mut file = fs::File::open(path).expect("open");
            file.read_to_end(&mut bytes).expect("read");
            if !parse {
                return bytes.len();
            }
            let text = String::from_utf8(bytes).expect("text");
            toml::de::DeTable::parse(&text)
                .expect("TOML")
                .get_ref()
                .len()
        })
        .sum();
    println!("{sum}");
    ExitCode::SUCCESS
}

/// Runs a command as the only child and prints the most memory that it held, in KiB.
fn memory(command: &[String]) -> ExitCode {
    let status = Command::new(&command[0])
        .args(&command[1..])
        .stdout(Stdio::null())
        .status();
    let usage = nix::sys::resource::getrusage(nix::sys::resource::UsageWho::RUSAGE_CHILDREN);
    match (status, usage) {
        (Ok(status), Ok(usage)) if status.success() => {
            println!("{}", usage.max_rss());
            ExitCode::SUCCESS
        }
        _ => ExitCode::FAILURE,
    }
}

// --- the book ---

/// Where one check of the generated book stands.
struct Made {
    instrument: String,
    /// The nth check of its instrument.
    nth: usize,
}

impl Made {
    fn of(index: usize) -> Made {
        Made {
            instrument: format!("VM-{:03}", index % INSTRUMENTS + 1),
            nth: index / INSTRUMENTS,
        }
    }

    /// Day, hour and minute; each of an instrument's checks has its own.
    fn when(&self) -> (usize, usize, usize) {
        (self.nth % 28 + 1, self.nth / 28 % 12 + 8, self.nth / 336)
    }

    fn path(&self) -> String {
        let (day, hour, minute) = self.when();
        let instrument = &self.instrument;
        format!("checks/2026/{instrument}/2026-09-{day:02}-{hour:02}{minute:02}.toml")
    }

    /// The sealed check of the example book, by another instrument at another time: its figures stay right.
    fn text(&self, sealed: &str) -> String {
        let (day, hour, minute) = self.when();
        let mut text = String::new();
        for line in sealed.lines() {
            let soaked = hour - 2;
            let _ = match line.split(' ').next() {
                Some("instrument") => writeln!(text, "instrument = \"{}\"", self.instrument),
                Some("performed") => {
                    writeln!(
                        text,
                        "performed = 2026-09-{day:02}T{hour:02}:{minute:02}:00"
                    )
                }
                Some("soak_started") => {
                    writeln!(
                        text,
                        "soak_started = 2026-09-{day:02}T{soaked:02}:{minute:02}:00"
                    )
                }
                _ => writeln!(text, "{line}"),
            };
        }
        text
    }
}

struct Example {
    sealed: String,
    instrument: String,
}

impl Example {
    fn read() -> io::Result<Example> {
        let example = Path::new(PROJECT).join("records-example");
        Ok(Example {
            sealed: fs::read_to_string(example.join("checks/2026/VM-01/2026-09-08-0950.toml"))?,
            instrument: fs::read_to_string(example.join("instruments/VM-01.toml"))?,
        })
    }
}

fn write(path: &Path, text: &str) -> io::Result<()> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    fs::write(path, text)
}

/// A book of so many sound checks.
fn make_book(root: &Path, example: &Example, checks: usize) -> io::Result<()> {
    let from = Path::new(PROJECT).join("records-example");
    write(
        &root.join("shearbook.toml"),
        // The checks of this book are older than a few days.
        &fs::read_to_string(from.join("shearbook.toml"))?
            .replace("late_entry_days = 3", "late_entry_days = 100000"),
    )?;
    for folder in FACT_FOLDERS {
        for entry in fs::read_dir(from.join(folder))? {
            let entry = entry?;
            let to = root.join(folder).join(entry.file_name());
            let text = fs::read_to_string(entry.path())?;
            // A geometry of the example fits the instruments of the example alone.
            let lines = text.lines().filter(|line| !line.starts_with("fits"));
            // Nobody reviews so many checks, so the policy does not ask for it.
            let lines = lines.map(|line| match line {
                "required = true" => "required = false",
                line if line.starts_with("records = ") => "records = []",
                line => line,
            });
            write(&to, &(lines.collect::<Vec<_>>().join("\n") + "\n"))?;
        }
    }
    for index in 0..INSTRUMENTS {
        let id = Made::of(index).instrument;
        let text = example.instrument.replace("VM-01", &id);
        write(&root.join(format!("instruments/{id}.toml")), &text)?;
    }
    for index in 0..checks {
        let made = Made::of(index);
        write(&root.join(made.path()), &made.text(&example.sealed))?;
    }
    Ok(())
}

fn git(root: &Path) -> Command {
    let mut command = Command::new("git");
    for (name, _) in std::env::vars_os() {
        if name.as_encoded_bytes().starts_with(b"GIT_") {
            command.env_remove(name);
        }
    }
    command
        .current_dir(root)
        .env("GIT_CONFIG_NOSYSTEM", "1")
        .env("GIT_CONFIG_GLOBAL", "/dev/null")
        .args([
            "-c",
            "user.name=op-07",
            "-c",
            "user.email=op-07@lab.example",
        ])
        .args(["-c", "gc.auto=0", "-c", "init.defaultBranch=main"]);
    command
}

fn done(command: &mut Command) -> io::Result<()> {
    let output = command.output()?;
    if output.status.success() {
        return Ok(());
    }
    Err(io::Error::other(format!(
        "{command:?} failed: {}{}",
        String::from_utf8_lossy(&output.stderr),
        String::from_utf8_lossy(&output.stdout)
    )))
}

/// Commits the whole book, packed as a clone has it.
fn commit(root: &Path) -> io::Result<()> {
    done(git(root).args(["init", "--quiet"]))?;
    done(git(root).args(["add", "--all"]))?;
    done(git(root).args(["commit", "--quiet", "-m", "The book"]))?;
    done(git(root).args(["repack", "-a", "-d", "--quiet"]))?;
    // Who commits is the operator of the checks, so that nothing is doubtful about the next one.
    done(git(root).args(["config", "user.email", "op-07@lab.example"]))
}

// --- measuring ---

struct Contender {
    name: &'static str,
    command: Command,
    times: Vec<Duration>,
}

impl Contender {
    fn new(name: &'static str, mut command: Command) -> Contender {
        command.stdout(Stdio::null()).stdin(Stdio::null());
        Contender {
            name,
            command,
            times: Vec::new(),
        }
    }

    fn run(&mut self) -> io::Result<Duration> {
        let begun = Instant::now();
        let status = self.command.status()?;
        let took = begun.elapsed();
        match status.success() {
            true => Ok(took),
            false => Err(io::Error::other(format!(
                "{} ended with {status}",
                self.name
            ))),
        }
    }

    fn median(&self) -> f64 {
        let mut times = self.times.clone();
        times.sort_unstable();
        times[times.len() / 2].as_secs_f64()
    }
}

/// Lets the system write what the bench made before: a short race would be over while one core still does that.
fn settle() {
    let _ = Command::new("sync").status();
}

/// One round warms up; then every round runs each contender once.
fn race(title: &str, rounds: usize, contenders: &mut [Contender]) -> io::Result<()> {
    println!("\n{title}; {rounds} rounds, interleaved, medians");
    settle();
    for contender in contenders.iter_mut() {
        contender.run()?;
    }
    for _ in 0..rounds {
        for contender in contenders.iter_mut() {
            let took = contender.run()?;
            contender.times.push(took);
        }
    }
    Ok(())
}

fn compare(one: &Contender, other: &Contender, most: f64) {
    let ratio = one.median() / other.median();
    let verdict = if ratio <= most { "met" } else { "not met" };
    println!(
        "  {:<54} {ratio:>6.2}   target at most {most:<4} {verdict}",
        format!("{} / {}", one.name, other.name)
    );
}

fn shearbook(root: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(SHEARBOOK);
    for (name, _) in std::env::vars_os() {
        if name.as_encoded_bytes().starts_with(b"GIT_") {
            command.env_remove(name);
        }
    }
    command.arg("-q").arg("--book").arg(root).args(arguments);
    command.stderr(Stdio::null());
    command
}

fn again(arguments: &[&str]) -> io::Result<Command> {
    let mut command = Command::new(std::env::current_exe()?);
    command.args(arguments);
    Ok(command)
}

/// The whole book must be sound, or the figures mean nothing.
fn must_be_sound(root: &Path, checks: usize) -> io::Result<()> {
    let output = shearbook(root, &["validate", "--format", "json"]).output()?;
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let json: serde_json::Value = serde_json::from_str(&text).map_err(io::Error::other)?;
    let read = json
        .pointer("/read/checks")
        .and_then(serde_json::Value::as_u64);
    let findings = json["findings"].as_array().map(Vec::len);
    if read == Some(checks as u64) && findings == Some(0) {
        return Ok(());
    }
    let first = json.pointer("/findings/0").cloned().unwrap_or_default();
    Err(io::Error::other(format!(
        "the generated book is not sound: {read:?} checks, {findings:?} findings, first {first}"
    )))
}

fn bench(options: &Options) -> io::Result<()> {
    let temporary;
    let top = match &options.dir {
        Some(dir) => dir.clone(),
        None => {
            temporary = tempfile::tempdir()?;
            temporary.path().to_owned()
        }
    };
    let example = Example::read()?;
    let root = top.join("book");
    if !root.exists() {
        println!("making a book of {} checks", options.checks);
        make_book(&root, &example, options.checks)?;
        commit(&root)?;
    }
    must_be_sound(&root, options.checks)?;

    let wants = |part: &str| options.only.as_ref().is_none_or(|only| only == part);
    if wants("validate") {
        whole(&root, options)?;
    }
    if wants("fleet") {
        fleet(&root, options)?;
    }
    if wants("gate") {
        gate(&root, &example, options)?;
    }
    if wants("plan") {
        plan(&top.join("plan"), &example, options)?;
    }
    if options.peers {
        peers(&top.join("peers"), &example, options)?;
    }
    Ok(())
}

fn whole(root: &Path, options: &Options) -> io::Result<()> {
    let dir = root.to_string_lossy().into_owned();
    let mut cat = Command::new("sh");
    cat.current_dir(root)
        .args(["-c", "find * -type f -print0 | xargs -0 cat > /dev/null"]);
    let mut all = [
        Contender::new("validate", shearbook(root, &["validate"])),
        Contender::new("read and parse", again(&["--bare", "parse", &dir])?),
        Contender::new("read", again(&["--bare", "read", &dir])?),
        Contender::new("find | xargs cat", cat),
    ];
    let title = format!("validate of {} checks", options.checks);
    race(&title, options.rounds, &mut all)?;
    let [validate, parse, read, cat] = &all;
    compare(validate, parse, 2.0);
    compare(parse, read, 6.0);
    compare(validate, cat, 1.6);
    peak(root, options.checks)
}

fn peak(root: &Path, checks: usize) -> io::Result<()> {
    let root = root.to_string_lossy();
    let output = again(&["--memory", SHEARBOOK, "-q", "--book", &root, "validate"])?.output()?;
    let said = String::from_utf8_lossy(&output.stdout).trim().to_owned();
    let kib: u64 = said.parse().map_err(io::Error::other)?;
    let most = 32.0 + checks as f64 * 256.0 / 1_048_576.0;
    let held = kib as f64 / 1024.0;
    let verdict = if held <= most { "met" } else { "not met" };
    println!(
        "  peak memory of validate {held:.1} MiB   target at most {most:.1} MiB, 32 MiB and 256 bytes a check: {verdict}"
    );
    Ok(())
}

/// All checks of the book are of one lot, so a trace of it finds every one.
fn fleet(root: &Path, options: &Options) -> io::Result<()> {
    let mut all = [
        Contender::new(
            "trend of one instrument",
            shearbook(root, &["trend", "VM-001"]),
        ),
        Contender::new(
            "trace of the lot of all checks",
            shearbook(root, &["trace", "K-2291"]),
        ),
        Contender::new("status", shearbook(root, &["status"])),
    ];
    let title = format!("trend and trace over {} checks", options.checks);
    race(&title, options.rounds, &mut all)?;
    let [trend, trace, status] = &all;
    compare(trend, status, 1.3);
    compare(trace, status, 1.3);
    Ok(())
}

fn gate(root: &Path, example: &Example, options: &Options) -> io::Result<()> {
    let made = Made::of(options.checks);
    write(&root.join(made.path()), &made.text(&example.sealed))?;
    done(git(root).args(["add", "--all"]))?;
    let mut differ = git(root);
    differ.args(["diff", "--cached", "--name-status"]);
    let mut one = [
        Contender::new("gate of one check", shearbook(root, &["gate"])),
        Contender::new("git diff --cached --name-status", differ),
    ];
    let title = format!("gate of one new check beside {}", options.checks);
    race(&title, options.rounds, &mut one)?;
    compare(&one[0], &one[1], 1.5);

    done(git(root).args(["commit", "--quiet", "--message", "One more"]))?;
    let mut range = [
        Contender::new(
            "gate --range of one commit",
            shearbook(root, &["gate", "--range", "HEAD~1..HEAD"]),
        ),
        Contender::new("validate", shearbook(root, &["validate"])),
    ];
    let title = format!("gate of one commit beside {} checks", options.checks);
    race(&title, options.rounds, &mut range)?;
    compare(&range[0], &range[1], 0.1);

    let fact = root.join("instruments/VM-001.toml");
    let text = fs::read_to_string(&fact)?;
    write(&fact, &text.replace("bench 1", "bench 9"))?;
    done(git(root).args(["add", "--all"]))?;
    let mut changed = [
        Contender::new("gate of a changed fact", shearbook(root, &["gate"])),
        Contender::new("validate", shearbook(root, &["validate"])),
    ];
    let title = format!("gate of a changed fact beside {} checks", options.checks);
    race(&title, options.rounds, &mut changed)?;
    compare(&changed[0], &changed[1], 1.5);
    done(git(root).args(["reset", "--quiet", "--hard", "HEAD~1"]))
}

// --- planning ---

const PLANNED_INSTRUMENTS: usize = 200;
const PLANNED_LOTS: usize = 100;
const PLANNED_GEOMETRIES: usize = 12;

/// No check of this book has been made, so all its instruments are due, and every geometry fits every one.
fn make_stock(root: &Path, example: &Example) -> io::Result<()> {
    let from = Path::new(PROJECT).join("records-example");
    make_book(root, example, 0)?;
    for folder in ["fluids", "geometries", "instruments"] {
        fs::remove_dir_all(root.join(folder))?;
    }
    let geometry = fs::read_to_string(from.join("geometries/C4-120.toml"))?;
    for index in 0..PLANNED_GEOMETRIES {
        let id = format!("C-{index:02}");
        let constant = format!("{}.0", 1000 << index);
        let text = geometry
            .replace("C4-120", &id)
            .replace("180000.0", &constant);
        write(&root.join(format!("geometries/{id}.toml")), &text)?;
    }
    let (fixed, free) = (
        "[1, 2, 5, 15, 30, 45, 60]",
        "speed_range_rpm = [0.01, 200.0]",
    );
    for index in 0..PLANNED_INSTRUMENTS {
        let id = format!("VM-{index:03}");
        let speeds = match index % 4 {
            0 => free.to_owned(),
            _ => format!("speeds_rpm = {fixed}"),
        };
        let torque = format!("full_scale_torque_un_m = {}.0", 40 << (index % 6));
        let text = example
            .instrument
            .replace("VM-01", &id)
            .replace(&format!("speeds_rpm = {fixed}"), &speeds)
            .replace("full_scale_torque_un_m = 80.0", &torque);
        write(&root.join(format!("instruments/{id}.toml")), &text)?;
    }
    let lot = fs::read_to_string(from.join("fluids/K-2455.toml"))?;
    for index in 0..PLANNED_LOTS {
        let id = format!("K-{index:03}");
        // From some 5 to some 80,000 mPa.s.
        let value = 5.0 * 1.1_f64.powi(i32::try_from(index).unwrap_or(0));
        let at = |share: f64| format!("viscosity_mpa_s = {:.2}", value * share);
        let text = lot
            .replace("K-2455", &id)
            .replace("viscosity_mpa_s = 1128.6", &at(1.1143))
            .replace("viscosity_mpa_s = 1012.8", &at(1.0))
            .replace("viscosity_mpa_s = 759.3", &at(0.7497))
            .replace(
                "nominal_mpa_s = 1000.0",
                &format!("nominal_mpa_s = {:.1}", value * 1.01),
            );
        write(&root.join(format!("fluids/{id}.toml")), &text)?;
    }
    let offer: String = (0..PLANNED_LOTS)
        .map(|index| format!("V-{index:03},{:.1}\n", 5.0 * 1.1_f64.powi(index as i32)))
        .collect();
    write(
        &root.join("offer.csv"),
        &format!("id,viscosity_mpa_s\n{offer}"),
    )
}

/// Planning a whole fleet beside reading and judging its book, and within two seconds on any machine of today.
fn plan(root: &Path, example: &Example, options: &Options) -> io::Result<()> {
    const MOST_SECONDS: f64 = 2.0;
    if !root.exists() {
        make_stock(root, example)?;
    }
    let planned = |words: &[&str]| {
        let day = ["--as-of", "2026-11-25", "plan"];
        shearbook(root, &[&day, words].concat())
    };
    let offer = root.join("offer.csv");
    let offer = offer.to_string_lossy();
    let mut all = [
        Contender::new("plan --within", planned(&["--within", "7"])),
        Contender::new("plan --buy", planned(&["--buy", &offer])),
        Contender::new("plan of one instrument", planned(&["VM-001"])),
        Contender::new("validate", shearbook(root, &["validate"])),
    ];
    let title = format!("plans for {PLANNED_INSTRUMENTS} instruments and {PLANNED_LOTS} lots");
    race(&title, options.rounds, &mut all)?;
    let [within, buy, one, validate] = &all;
    compare(one, validate, 2.0);
    for contender in [within, buy] {
        let took = contender.median();
        let verdict = if took <= MOST_SECONDS {
            "met"
        } else {
            "not met"
        };
        println!(
            "  {:<54} {took:>6.2} s target at most {MOST_SECONDS} s {verdict}",
            contender.name
        );
    }
    Ok(())
}

// --- others that hold TOML against the same schema ---

fn there(program: &str, argument: &str) -> bool {
    let tried = Command::new(program)
        .arg(argument)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    tried.is_ok_and(|status| status.success())
}

fn peers(root: &Path, example: &Example, options: &Options) -> io::Result<()> {
    let checks = options.checks.min(PEER_CHECKS);
    if !root.exists() {
        make_book(root, example, checks)?;
    }
    let schema = Path::new(PROJECT).join("schema/check.schema.json");
    let script = Path::new(PROJECT).join("tests/bench/peers/ajv.mjs");
    let files: Vec<String> = (0..checks).map(|index| Made::of(index).path()).collect();
    let on_files = |command: &mut Command| {
        command.current_dir(root).args(&files).stderr(Stdio::null());
    };
    let mut all = vec![Contender::new("validate", shearbook(root, &["validate"]))];
    if there("taplo", "--version") {
        let mut taplo = Command::new("taplo");
        taplo.args(["check", "--no-auto-config", "--schema"]);
        taplo.arg(format!("file://{}", schema.display()));
        on_files(&mut taplo);
        all.push(Contender::new("taplo check", taplo));
    } else {
        println!(
            "\ntaplo is not on this machine and is left out: cargo install taplo-cli --locked"
        );
    }
    if there("check-jsonschema", "--version") {
        let mut python = Command::new("check-jsonschema");
        python.arg("--schemafile").arg(&schema);
        on_files(&mut python);
        all.push(Contender::new("check-jsonschema", python));
    } else {
        println!(
            "\ncheck-jsonschema is not on this machine and is left out: pip install check-jsonschema"
        );
    }
    if there("node", "--version") && script.with_file_name("node_modules").is_dir() {
        let mut node = Command::new("node");
        node.arg(&script).arg(&schema);
        on_files(&mut node);
        all.push(Contender::new("ajv", node));
    } else {
        println!("\najv is not on this machine and is left out: npm ci in tests/bench/peers");
    }
    let title = format!(
        "{checks} checks, the others with the schema of checks alone, validate with every rule"
    );
    race(&title, options.rounds.min(7), &mut all)?;
    let own = all[0].median();
    for other in &all[1..] {
        println!(
            "  {:<54} {:>6.2}",
            format!("{} / validate", other.name),
            other.median() / own
        );
    }
    io::stdout().flush()
}
