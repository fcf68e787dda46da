use super::*;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{TcpListener, TcpStream, UdpSocket};
use std::sync::atomic::AtomicUsize;

/// Long enough for anything that happens at once on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);

fn sentence(body: &str) -> String {
    format!("${body}*{:02X}\r\n", crate::track::nmea::checksum(body))
}

/// A moment of a receiver: GGA and RMC.
fn moment(second: u32) -> String {
    let place = format!("5100.{second:04},N,00200.0000,W");
    sentence(&format!("GPGGA,0900{second:02}.00,{place},1,08,0.9,{}.0,M,48.0,M,,", 300 + second))
        + &sentence(&format!("GPRMC,0900{second:02}.00,A,{place},45.0,359.0,010625,,,A"))
}

fn until<T>(mut look: impl FnMut() -> Option<T>) -> T {
    let began = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(began.elapsed() < PATIENCE, "waited in vain");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn fixes(live: &Live, count: usize) -> Vec<LiveFix> {
    let mut all = Vec::new();
    until(|| {
        all.extend(live.take());
        (all.len() >= count).then_some(())
    });
    all
}

fn server() -> (TcpListener, Source) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    (listener, Source::Tcp { host: "127.0.0.1".into(), port })
}

/// A live source connected to a server of the test's, and how often it said that something is new.
fn listening() -> (TcpListener, Live, TcpStream, Arc<AtomicUsize>) {
    let (listener, source) = server();
    let notices = Arc::new(AtomicUsize::new(0));
    let count = Arc::clone(&notices);
    let live = Live::start(source, move || {
        count.fetch_add(1, Ordering::Relaxed);
    })
    .unwrap();
    let (other, _) = listener.accept().unwrap();
    (listener, live, other, notices)
}

fn state(live: &Live) -> State {
    live.status(Instant::now()).state
}

#[test]
fn a_server_is_read_through_rubbish_and_found_again_when_it_comes_back() {
    let (listener, live, mut other, notices) = listening();
    other.write_all(b"\xff\xfe\0\0 hello\r\n$GPGGA,nonsense*00\r\n$GPGGA,0900\r\n").unwrap();
    other.write_all(&vec![b'x'; 100_000]).unwrap();
    other.write_all(b"\n").unwrap();
    let (first, rest) = (moment(1), moment(2));
    other.write_all(first.as_bytes()).unwrap();
    // A sentence in two pieces is one sentence.
    other.write_all(&rest.as_bytes()[..20]).unwrap();
    other.flush().unwrap();
    std::thread::sleep(Duration::from_millis(20));
    other.write_all(&rest.as_bytes()[20..]).unwrap();
    let found = fixes(&live, 2);
    assert_eq!(found[0].time.unwrap().to_string(), "2025-06-01T09:00:01Z");
    assert_eq!((found[0].height_amsl_m, found[1].height_amsl_m), (Some(301.0), Some(302.0)));
    assert!((found[1].speed_ms.unwrap() - 45.0 * 1_852.0 / 3_600.0).abs() < 1e-9);
    assert_eq!(found[1].track_deg, Some(359.0));
    let status = live.status(Instant::now());
    assert_eq!(status.state, State::Live);
    assert!(status.rejected >= 3 && status.trouble.is_none(), "{status:?}");
    assert!(notices.load(Ordering::Relaxed) >= 1);
    drop(other);
    let trouble = until(|| live.status(Instant::now()).trouble);
    assert!(trouble.contains("ended the connection") && trouble.contains("trying again"), "{trouble}");
    let (mut again, _) = listener.accept().unwrap();
    again.write_all(moment(9).as_bytes()).unwrap();
    assert_eq!(fixes(&live, 1)[0].height_amsl_m, Some(309.0));
    assert_eq!(live.status(Instant::now()).trouble, None);
}

#[test]
fn the_age_of_a_fix_is_told_and_an_old_one_is_never_live() {
    let (listener, source) = server();
    let live = Live::start(source, || {}).unwrap();
    let (mut other, _) = listener.accept().unwrap();
    assert!(matches!(state(&live), State::Connecting | State::NoFix));
    until(|| (state(&live) == State::NoFix).then_some(()));
    other.write_all(moment(1).as_bytes()).unwrap();
    fixes(&live, 1);
    let status = live.status(Instant::now());
    let received = status.fix.unwrap().received;
    let at = |seconds: u64| live.status(received + Duration::from_secs(seconds));
    assert_eq!((at(0).state, at(3).state, at(4).state, at(31).state), {
        (State::Live, State::Live, State::Stale, State::Lost)
    });
    assert_eq!(at(4).age, Some(Duration::from_secs(4)));
    // The receiver says itself that its fix is gone: that counts at once.
    other.write_all(sentence("GPGGA,090002.00,,,,,0,00,99.9,,M,,M,,").as_bytes()).unwrap();
    until(|| (live.status(received + Duration::from_secs(1)).state == State::Stale).then_some(()));
    other.write_all(moment(3).as_bytes()).unwrap();
    fixes(&live, 1);
    assert_eq!(state(&live), State::Live);
}

#[test]
fn a_flood_is_bounded_and_the_newest_fix_wins() {
    let (_listener, live, mut other, notices) = listening();
    let began = Instant::now();
    // As much as fits into two seconds; nobody takes anything meanwhile.
    let mut sent = 0_u32;
    other.set_write_timeout(Some(Duration::from_millis(200))).unwrap();
    while began.elapsed() < Duration::from_secs(2) {
        match other.write(moment(sent % 60).as_bytes()) {
            Ok(_) => sent += 1,
            Err(e) if matches!(e.kind(), std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut) => {}
            Err(e) => panic!("{e}"),
        }
    }
    let waited = began.elapsed().as_secs_f64();
    let status = live.status(Instant::now());
    assert!(live.take().len() <= MOST_WAITING);
    assert!(status.fix.is_some() && sent > 100, "{sent} {status:?}");
    let told = notices.load(Ordering::Relaxed);
    assert!((told as f64) < 20.0 + 11.0 * waited, "{told} notices in {waited} s");
}

#[test]
fn packets_are_listened_to() {
    // A port that is free now is most likely free a moment later.
    let port = UdpSocket::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let live = Live::start(Source::Udp { port }, || {}).unwrap();
    until(|| (state(&live) == State::NoFix).then_some(()));
    let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
    let whole = moment(5);
    let found = until(|| {
        sender.send_to(b"\x80\x81 rubbish", ("127.0.0.1", port)).unwrap();
        // One sentence in each packet, the last without the end of its line.
        for packet in whole.trim_end().split("\r\n") {
            sender.send_to(packet.as_bytes(), ("127.0.0.1", port)).unwrap();
        }
        std::thread::sleep(Duration::from_millis(20));
        live.take().first().copied()
    });
    assert_eq!(found.height_amsl_m, Some(305.0));
}

#[test]
fn gpsd_is_asked_to_watch_and_its_reports_are_read() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let live = Live::start(Source::Gpsd { host: "localhost".into(), port }, || {}).unwrap();
    // The name may be tried by both families of addresses.
    let (mut other, _) = listener.accept().unwrap();
    let mut asked = String::new();
    BufReader::new(other.try_clone().unwrap()).read_line(&mut asked).unwrap();
    assert_eq!(asked, "?WATCH={\"enable\":true,\"json\":true};\n");
    let reports = [
        r#"{"class":"VERSION","release":"3.25"}"#,
        r#"{"class":"SKY","uSat":9,"satellites":[{"PRN":1}]}"#,
        "{\"class\":\"TPV\",\"mode\":3,\"lat\":",
        r#"{"class":"TPV","mode":1}"#,
        r#"{"class":"TPV","mode":3,"time":"2025-06-01T09:00:01.000Z","lat":51.0,"lon":-2.0,"altHAE":350.0,"speed":22.5,"track":10.1}"#,
        r#"{"class":"TPV","mode":2,"time":"2025-06-01T09:00:02.000Z","lat":51.001,"lon":-2.0,"alt":300.0}"#,
        r#"{"class":"TPV","mode":3,"lat":51.002,"lon":-2.0,"altMSL":301.5,"altHAE":350.0}"#,
        r#"{"class":"TPV","mode":3,"lat":251.0,"lon":-2.0}"#,
    ];
    for report in reports {
        other.write_all(report.as_bytes()).unwrap();
        other.write_all(b"\r\n").unwrap();
    }
    let found = fixes(&live, 3);
    let geoid = crate::track::undulation_m(LonLat { lon_deg: -2.0, lat_deg: 51.0 });
    assert!((found[0].height_amsl_m.unwrap() - (350.0 - geoid)).abs() < 1e-9);
    assert_eq!((found[0].speed_ms, found[0].track_deg), (Some(22.5), Some(10.1)));
    assert_eq!(found[1].height_amsl_m, None, "two dimensions have no height");
    assert_eq!(found[2].height_amsl_m, Some(301.5));
    until(|| (state(&live) == State::Stale).then_some(()));
    let status = live.status(Instant::now());
    assert_eq!((status.satellites, status.rejected), (Some(9), 1));
}

#[test]
fn nobody_there_is_said_in_words_and_tried_again() {
    let (listener, source) = server();
    let Source::Tcp { port, .. } = source.clone() else { panic!("no server") };
    drop(listener);
    let live = Live::start(source, || {}).unwrap();
    let trouble = until(|| live.status(Instant::now()).trouble);
    assert!(trouble.contains("nobody answers there") && trouble.contains("trying again"), "{trouble}");
    let listener = TcpListener::bind(("127.0.0.1", port)).unwrap();
    let (mut other, _) = listener.accept().unwrap();
    other.write_all(moment(1).as_bytes()).unwrap();
    fixes(&live, 1);
    let line = Live::start(Source::Serial { name: "/dev/no-such-line".into(), baud: NMEA_BAUD }, || {}).unwrap();
    let trouble = until(|| line.status(Instant::now()).trouble);
    assert!(trouble.contains("/dev/no-such-line"), "{trouble}");
    assert_eq!(state(&line), State::Connecting);
}

/// The other end of a serial line: Python makes a pair of pseudo terminals, names one by a link, and passes on to the
/// other what it is told.
#[cfg(unix)]
fn far_end(link: &std::path::Path) -> Option<std::process::Child> {
    const RELAY: &str = "
import os, sys, tty
far, near = os.openpty()
tty.setraw(near)
if os.path.lexists(sys.argv[1]): os.unlink(sys.argv[1])
os.symlink(os.ttyname(near), sys.argv[1])
print('ready', flush=True)
while True:
    data = os.read(0, 4096)
    if not data: break
    os.write(far, data)
";
    let piped = std::process::Stdio::piped;
    let mut child = std::process::Command::new("python3")
        .args(["-c", RELAY])
        .arg(link)
        .stdin(piped())
        .stdout(piped())
        .stderr(std::process::Stdio::null())
        .spawn()
        .ok()?;
    let mut told = String::new();
    let read = BufReader::new(child.stdout.take()?).read_line(&mut told);
    if read.is_ok() && told.trim() == "ready" {
        return Some(child);
    }
    child.kill().ok();
    child.wait().ok();
    None
}

#[cfg(unix)]
#[test]
fn a_serial_line_is_read_through_rubbish_and_gaps_and_found_again_when_it_is_plugged_in_again() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("line");
    let Some(mut far) = far_end(&link) else {
        eprintln!("skipped: pseudo terminals need python3, and there is none");
        return;
    };
    let send = |far: &mut std::process::Child, bytes: &[u8]| far.stdin.as_mut().unwrap().write_all(bytes).unwrap();
    let live = Live::start(Source::Serial { name: link.display().to_string(), baud: NMEA_BAUD }, || {}).unwrap();
    until(|| (state(&live) == State::NoFix).then_some(()));
    // What a wrong speed and a plug make of sentences, and a sentence whose beginning is missing.
    send(&mut far, b"\xff\x00\xfe\x80$GPG\x00\r\n$GPGGA,nonsense*00\r\n");
    send(&mut far, &[0xAA; 3_000]);
    send(&mut far, &[b"\r\n", &moment(1).as_bytes()[40..]].concat());
    send(&mut far, moment(2).as_bytes());
    let first = fixes(&live, 1);
    assert_eq!(first.last().unwrap().height_amsl_m, Some(302.0));
    let status = live.status(Instant::now());
    assert!(status.rejected >= 2 && status.trouble.is_none(), "{status:?}");
    // A gap ages the fix and breaks nothing.
    let received = status.fix.unwrap().received;
    assert_eq!(live.status(received + Duration::from_secs(5)).state, State::Stale);
    std::thread::sleep(Duration::from_millis(700));
    assert_eq!(live.status(Instant::now()).trouble, None);
    send(&mut far, moment(9).as_bytes());
    until(|| live.take().iter().any(|f| f.height_amsl_m == Some(309.0)).then_some(()));
    // Pulled out, and put in again: the name is the same, the line another.
    far.kill().unwrap();
    far.wait().unwrap();
    let trouble = until(|| live.status(Instant::now()).trouble);
    assert!(trouble.contains("trying again"), "{trouble}");
    let mut far = far_end(&link).unwrap();
    until(|| {
        send(&mut far, moment(11).as_bytes());
        std::thread::sleep(Duration::from_millis(100));
        live.take().iter().any(|f| f.height_amsl_m == Some(311.0)).then_some(())
    });
    assert_eq!(live.status(Instant::now()).trouble, None);
    far.kill().unwrap();
    far.wait().unwrap();
}

#[test]
fn a_source_that_is_dropped_lets_go() {
    let (listener, source) = server();
    let live = Live::start(source, || {}).unwrap();
    let (other, _) = listener.accept().unwrap();
    drop(live);
    let mut end = [0; 8];
    let mut other: TcpStream = other;
    other.set_read_timeout(Some(PATIENCE)).unwrap();
    assert_eq!(std::io::Read::read(&mut other, &mut end).unwrap(), 0, "closed from the other side");
}

/// A flight of so many seconds due north.
fn recorded(folder: &std::path::Path, seconds: u32) -> PathBuf {
    let fix = |s: u32| {
        let (h, m) = (9 + s / 3_600, s / 60 % 60);
        format!("B{h:02}{m:02}{:02}51{:05}N00200000WA0030000348\n", s % 60, s * 10)
    };
    let text = "AXXX\nHFDTE010625\nHFALGALTGPS:ELL\n".to_owned() + &(0..seconds).map(fix).collect::<String>();
    let path = folder.join("flight.igc");
    std::fs::write(&path, text).unwrap();
    path
}

#[test]
fn a_recorded_flight_is_played_again_at_any_speed_and_ends() {
    let folder = tempfile::tempdir().unwrap();
    let path = recorded(folder.path(), 120);
    let live = Live::start(Source::Replay { path, speed: 0.0 }, || {}).unwrap();
    let first = fixes(&live, 1)[0];
    std::thread::sleep(Duration::from_millis(150));
    assert!(live.take().is_empty(), "it stands still");
    live.set_speed(1_000.0);
    let rest = fixes(&live, 119);
    assert_eq!(rest.len(), 119);
    until(|| (state(&live) == State::Ended).then_some(()));
    let geoid = crate::track::undulation_m(first.place);
    assert!((first.height_amsl_m.unwrap() - (348.0 - geoid)).abs() < 1e-9);
    // A hundredth of a minute of latitude each second is a hundredth of a nautical mile: 18.5 m.
    assert!((rest[60].speed_ms.unwrap() - 18.53).abs() < 0.05, "{:?}", rest[60].speed_ms);
    assert_eq!(rest[60].track_deg, Some(0.0));
    let missing = Live::start(Source::Replay { path: "/nowhere/a.igc".into(), speed: 1.0 }, || {}).unwrap();
    let trouble = until(|| missing.status(Instant::now()).trouble);
    assert!(trouble.contains("no such file"), "{trouble}");
}

#[test]
fn two_hours_at_high_speed_never_wait_in_memory() {
    let folder = tempfile::tempdir().unwrap();
    let path = recorded(folder.path(), 5_990);
    let live = Live::start(Source::Replay { path, speed: 100_000.0 }, || {}).unwrap();
    until(|| (state(&live) == State::Ended).then_some(()));
    let status = live.status(Instant::now());
    let waiting = live.take();
    assert_eq!(waiting.len(), MOST_WAITING);
    assert_eq!(status.dropped as usize, 5_990 - MOST_WAITING);
    assert_eq!(waiting.last(), status.fix.as_ref(), "the newest stay");
}
