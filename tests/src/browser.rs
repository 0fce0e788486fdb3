//! A real browser without a screen, told what to do over the DevTools protocol on a pipe.
//!
//! Own code: the protocol is JSON documents with a zero byte after each, and the checks need six of its commands; the crates
//! for it bring web sockets, downloads and a runtime along.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// How long the browser may take for any one answer, on a machine that does much else.
const PATIENCE: Duration = Duration::from_secs(60);

/// How a page is looked at.
#[derive(Clone, Copy, Debug)]
pub struct View {
    /// Its name in messages and files.
    pub name: &'static str,
    /// Width of the window in CSS pixels.
    pub width: u32,
    /// Height of the window in CSS pixels.
    pub height: u32,
    /// Pixels of the screen in one CSS pixel.
    pub scale: f64,
    /// Screen or paper.
    pub medium: Medium,
    /// Whether the person prefers light on dark.
    pub scheme: Scheme,
}

/// Screen or paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Medium {
    /// A screen.
    Screen,
    /// Paper.
    Print,
}

/// What the person prefers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scheme {
    /// Dark on light.
    Light,
    /// Light on dark.
    Dark,
}

/// A running browser with one page.
pub struct Browser {
    child: Child,
    to: ChildStdin,
    from: Receiver<Value>,
    session: String,
    next: u64,
    events: Vec<Value>,
    // Its profile; gone with it.
    _profile: tempfile::TempDir,
}

impl Browser {
    /// Starts Chromium, which must be installed under one of its usual names.
    ///
    /// # Panics
    /// When there is none, or it does not answer.
    #[must_use]
    pub fn start() -> Self {
        let program = ["chromium", "chromium-browser", "google-chrome"]
            .into_iter()
            .find(|name| {
                let found = Command::new("sh").args(["-c", "command -v \"$0\"", name]).output();
                found.is_ok_and(|found| found.status.success())
            })
            .expect("a Chromium is installed (Debian's package chromium)");
        let profile = tempfile::tempdir().expect("a folder");
        // The protocol wants file descriptors 3 and 4. No sandbox: it does not start as superuser or in a container, and the
        // one page it shows is our own.
        let script = "exec \"$0\" --headless=new --no-sandbox --disable-gpu --disable-dev-shm-usage --hide-scrollbars \
             --no-first-run --disable-background-networking --disable-component-update --disable-sync \
             --font-render-hinting=none --user-data-dir=\"$1\" --remote-debugging-pipe 3<&0 4>&1 </dev/null >/dev/null";
        let mut child = Command::new("sh")
            .args(["-c", script, program])
            .arg(profile.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the browser starts");
        let to = child.stdin.take().expect("a pipe");
        let mut answers = BufReader::new(child.stdout.take().expect("a pipe"));
        let (send, from) = channel();
        std::thread::spawn(move || {
            let mut message = Vec::new();
            while matches!(answers.read_until(0, &mut message), Ok(read) if read > 0) {
                message.pop();
                if let Ok(value) = serde_json::from_slice(&message)
                    && send.send(value).is_err()
                {
                    break;
                }
                message.clear();
            }
        });
        let mut browser =
            Self { child, to, from, session: String::new(), next: 1, events: Vec::new(), _profile: profile };
        let target = browser.call("Target.createTarget", json!({ "url": "about:blank" }));
        let attached =
            browser.call("Target.attachToTarget", json!({ "targetId": target["targetId"], "flatten": true }));
        browser.session = attached["sessionId"].as_str().expect("a session").to_owned();
        for domain in ["Page", "Runtime", "Log", "Network"] {
            browser.call(&format!("{domain}.enable"), json!({}));
        }
        browser
    }

    /// One command and its result.
    ///
    /// # Panics
    /// When the browser refuses it or does not answer.
    pub fn call(&mut self, method: &str, params: Value) -> Value {
        let id = self.next;
        self.next += 1;
        let mut message = json!({ "id": id, "method": method, "params": params });
        if !self.session.is_empty() {
            message["sessionId"] = self.session.clone().into();
        }
        let mut bytes = message.to_string().into_bytes();
        bytes.push(0);
        self.to.write_all(&bytes).and_then(|()| self.to.flush()).expect("the browser listens");
        loop {
            let answer = self.receive(method);
            if answer["id"] == id {
                assert!(answer.get("error").is_none(), "{method}: {}", answer["error"]);
                return answer["result"].clone();
            }
            self.events.push(answer);
        }
    }

    fn receive(&self, what: &str) -> Value {
        self.from.recv_timeout(PATIENCE).unwrap_or_else(|error| panic!("no answer to {what}: {error}"))
    }

    /// Opens a file in a view, and gives everything the browser complained about or asked for elsewhere.
    pub fn open(&mut self, page: &Path, view: View) -> Vec<String> {
        self.call(
            "Emulation.setDeviceMetricsOverride",
            json!({ "width": view.width, "height": view.height, "deviceScaleFactor": view.scale,
                    "mobile": view.medium == Medium::Screen && view.width < 600 }),
        );
        let scheme = if view.scheme == Scheme::Dark { "dark" } else { "light" };
        let medium = if view.medium == Medium::Print { "print" } else { "screen" };
        self.call(
            "Emulation.setEmulatedMedia",
            json!({ "media": medium, "features": [{ "name": "prefers-color-scheme", "value": scheme }] }),
        );
        self.events.clear();
        let url = format!("file://{}", page.display());
        self.call("Page.navigate", json!({ "url": url }));
        while !self.events.iter().any(|event| event["method"] == "Page.loadEventFired") {
            let event = self.receive("the load of the page");
            self.events.push(event);
        }
        // What a script or a font might still ask for.
        self.evaluate("document.fonts.ready.then(() => new Promise(done => setTimeout(done, 100)))");
        self.events.iter().filter_map(|event| complaint(event, &url)).collect()
    }

    /// The value of an expression within the page; a promise is waited for.
    ///
    /// # Panics
    /// When the expression throws.
    pub fn evaluate(&mut self, expression: &str) -> Value {
        let result = self.call(
            "Runtime.evaluate",
            json!({ "expression": expression, "returnByValue": true, "awaitPromise": true }),
        );
        assert!(result.get("exceptionDetails").is_none(), "{}", result["exceptionDetails"]);
        result["result"]["value"].clone()
    }

    /// A picture of the whole page, as base64 of a PNG.
    pub fn screenshot(&mut self) -> String {
        let result = self.call(
            "Page.captureScreenshot",
            json!({ "format": "png", "captureBeyondViewport": true, "optimizeForSpeed": true }),
        );
        result["data"].as_str().expect("a picture").to_owned()
    }

    /// The page on paper (in inches), as base64 of a PDF.
    pub fn pdf(&mut self, width: f64, height: f64) -> String {
        let result = self.call(
            "Page.printToPDF",
            json!({ "paperWidth": width, "paperHeight": height, "preferCSSPageSize": false }),
        );
        result["data"].as_str().expect("a document").to_owned()
    }
}

/// What an event complains about, if it does.
fn complaint(event: &Value, page: &str) -> Option<String> {
    let params = &event["params"];
    match event["method"].as_str()? {
        "Log.entryAdded" => Some(format!("log: {}", params["entry"]["text"])),
        "Runtime.exceptionThrown" => Some(format!("exception: {}", params["exceptionDetails"])),
        "Runtime.consoleAPICalled" => Some(format!("console: {}", params["args"])),
        "Network.requestWillBeSent" => {
            let url = params["request"]["url"].as_str().unwrap_or_default();
            (url != page && !url.starts_with("data:")).then(|| format!("request: {url}"))
        }
        _ => None,
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
