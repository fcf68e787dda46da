//! Connections: made, read in pieces, and made again after a pause that grows.

use super::assemble::Assembler;
use super::lines::Lines;
use super::{Hub, News, Source, gpsd};
use std::io::{self, Read, Write as _};
use std::net::{TcpStream, ToSocketAddrs as _, UdpSocket};
use std::time::{Duration, Instant};

/// The first pause after a connection broke; each further one is twice as long …
const FIRST_PAUSE: Duration = Duration::from_millis(500);
/// … up to this.
const LONGEST_PAUSE: Duration = Duration::from_secs(30);
/// How long a server may take to answer.
const CONNECT: Duration = Duration::from_secs(5);
/// A read gives up after this, so that stopping is noticed and a moment's last sentence is not waited for.
const READ: Duration = Duration::from_millis(200);
/// A connection on which nothing comes for so long is made anew.
const SILENT: Duration = Duration::from_mins(1);
/// Bytes taken in a slice of time: a receiver sends some kilobytes a second; what floods waits or is lost.
const BYTES: usize = 32 << 10;
const SLICE: Duration = Duration::from_millis(100);
/// Between two notices.
const NOTICE: Duration = Duration::from_millis(100);
/// A line of NMEA, with what loggers put before it.
const LONGEST_LINE: usize = 1_024;

trait Pipe {
    /// Bytes, 0 when the other side has closed; an error of the kinds "would block" or "timed out" for silence.
    fn receive(&mut self, into: &mut [u8]) -> io::Result<usize>;
    /// Whether no bytes means the end.
    fn ends(&self) -> bool {
        true
    }
}

impl Pipe for TcpStream {
    fn receive(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.read(into)
    }
}

impl Pipe for UdpSocket {
    fn receive(&mut self, into: &mut [u8]) -> io::Result<usize> {
        // A packet may end without the end of a line.
        let room = into.len() - 1;
        let n = self.recv(&mut into[..room])?;
        into[n] = b'\n';
        Ok(n + 1)
    }
    fn ends(&self) -> bool {
        false
    }
}

struct SerialLine(Box<dyn serialport::SerialPort>);

impl Pipe for SerialLine {
    fn receive(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.0.read(into)
    }
}

/// Listens until stopped.
pub(super) fn run(hub: &Hub, source: &Source) {
    let mut pause = FIRST_PAUSE;
    while !hub.stopped() {
        let why = match connect(source) {
            Ok(mut pipe) => {
                hub.connected();
                let (had_fixes, end) = listen(hub, pipe.as_mut(), matches!(source, Source::Gpsd { .. }));
                if had_fixes {
                    pause = FIRST_PAUSE;
                }
                end
            }
            Err(e) => words(source, &e),
        };
        if hub.stopped() {
            return;
        }
        hub.trouble(format!("{why}; trying again"));
        let until = Instant::now() + pause;
        while let Some(left) = until.checked_duration_since(Instant::now()).filter(|left| !left.is_zero()) {
            if !hub.wait(left) {
                return;
            }
        }
        pause = (pause * 2).min(LONGEST_PAUSE);
    }
}

fn connect(source: &Source) -> io::Result<Box<dyn Pipe>> {
    Ok(match source {
        Source::Tcp { host, port } => Box::new(tcp(host, *port)?),
        Source::Gpsd { host, port } => {
            let mut stream = tcp(host, *port)?;
            stream.write_all(gpsd::WATCH)?;
            Box::new(stream)
        }
        Source::Udp { port } => {
            let socket = UdpSocket::bind(("0.0.0.0", *port))?;
            socket.set_read_timeout(Some(READ))?;
            Box::new(socket)
        }
        Source::Serial { name, baud } => {
            let port = serialport::new(name, *baud).timeout(READ).open().map_err(io::Error::from)?;
            Box::new(SerialLine(port))
        }
        Source::Replay { .. } => return Err(io::ErrorKind::Unsupported.into()),
    })
}

fn tcp(host: &str, port: u16) -> io::Result<TcpStream> {
    let mut last = io::Error::from(io::ErrorKind::AddrNotAvailable);
    for address in (host, port).to_socket_addrs()? {
        match TcpStream::connect_timeout(&address, CONNECT) {
            Ok(stream) => {
                stream.set_read_timeout(Some(READ))?;
                stream.set_write_timeout(Some(CONNECT))?;
                return Ok(stream);
            }
            Err(e) => last = e,
        }
    }
    Err(last)
}

/// Why there is no connection, in words for people.
fn words(source: &Source, error: &io::Error) -> String {
    use io::ErrorKind as K;
    let why = match error.kind() {
        K::ConnectionRefused => "nobody answers there",
        K::TimedOut | K::WouldBlock => "there is no answer",
        K::NotFound | K::InvalidInput => "there is no such line or name",
        K::PermissionDenied => "this computer does not allow it",
        K::AddrInUse => "another program listens there already",
        _ => return format!("no connection to {source} ({error})"),
    };
    format!("no connection to {source}: {why}")
}

/// Reads until the connection ends; says whether there was any fix, and why it ended.
fn listen(hub: &Hub, pipe: &mut dyn Pipe, is_gpsd: bool) -> (bool, String) {
    let mut lines = Lines::new(if is_gpsd { gpsd::LONGEST } else { LONGEST_LINE });
    let mut assembler = Assembler::default();
    let mut buffer = vec![0; 8 << 10];
    let (mut had_fixes, mut heard) = (false, Instant::now());
    let mut noticed: Option<Instant> = None;
    let (mut slice, mut taken) = (Instant::now(), 0);
    while !hub.stopped() {
        let received = match pipe.receive(&mut buffer) {
            Ok(0) if pipe.ends() => return (had_fixes, "the other side ended the connection".to_owned()),
            Ok(n) => n,
            Err(e) if matches!(e.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => {
                if let Some(news) = assembler.silence(Instant::now()) {
                    had_fixes |= matches!(news, News::Fix(_));
                    hub.put(news, true);
                }
                if pipe.ends() && heard.elapsed() > SILENT {
                    return (had_fixes, "nothing came for a minute".to_owned());
                }
                continue;
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return (had_fixes, format!("the connection broke ({e})")),
        };
        heard = Instant::now();
        let mut all = Vec::new();
        lines.take(&buffer[..received], &mut |line| match line {
            Some(line) if is_gpsd => all.extend(gpsd::line(line, heard)),
            Some(line) => all.extend(assembler.line(line, heard)),
            None => all.push(News::Rejected),
        });
        for news in all {
            let matters = matches!(news, News::Fix(_) | News::NoFix);
            had_fixes |= matches!(news, News::Fix(_));
            let now = matters && noticed.is_none_or(|at| at.elapsed() >= NOTICE);
            hub.put(news, now);
            if now {
                noticed = Some(Instant::now());
            }
        }
        taken += received;
        if taken >= BYTES {
            if let Some(rest) = SLICE.checked_sub(slice.elapsed())
                && !hub.wait(rest)
            {
                break;
            }
            (slice, taken) = (Instant::now(), 0);
        } else if slice.elapsed() > SLICE {
            (slice, taken) = (Instant::now(), 0);
        }
    }
    (had_fixes, "stopped".to_owned())
}
