//! The few pages that the server writes itself, for those who are not in yet. One of them has a script, which asks something.

use crate::trust::{CERTIFICATE_PATH, CHECK_PATH};

/// Path of the pages' style sheet.
pub const STYLE_PATH: &str = "/join/page.css";

pub const STYLE: &str = "\
:root { color-scheme: light dark; font: 18px/1.5 system-ui, sans-serif; }
body { max-width: 30rem; margin: 0 auto; padding: 2rem 1rem; }
h1 { font-size: 1.4rem; }
label { display: block; margin-top: 1rem; }
input { display: block; width: 100%; box-sizing: border-box; font: inherit; padding: .7rem; min-height: 48px; }
a.button { display: inline-block; padding: .8rem 1rem; border: 2px solid; border-radius: .5rem; text-decoration: none; font-weight: 600; }
summary { min-height: 48px; padding: .6rem 0; box-sizing: border-box; font-weight: 600; }
code { overflow-wrap: anywhere; }
button { font: inherit; font-weight: 600; margin-top: 1.5rem; min-height: 56px; width: 100%; }
";

/// A short page with one message.
pub fn message(text: &str, remedy: &str) -> String {
    page("Napline", &format!("<h1>{}</h1>\n<p>{}</p>", escape(text), escape(remedy)))
}

/// The page behind a pairing link. It posts to its own address.
pub fn join(shop: &str) -> String {
    let body = format!(
        r#"<h1>Join {}</h1>
<p>Everybody who measures with you sees this name beside your readings.</p>
<form method="post">
<label for="name">Your name</label>
<input id="name" name="name" required maxlength="60" autocomplete="name" autofocus>
<label for="device">This device</label>
<input id="device" name="device" required maxlength="60" value="phone">
<button type="submit">Join</button>
</form>"#,
        escape(shop)
    );
    page("Join", &body)
}

/// What the welcome page needs to say.
pub struct Welcome<'a> {
    pub shop: &'a str,
    /// Answers over https, where the certificate is trusted.
    pub probe: &'a str,
    /// Where it goes on, over https.
    pub next: &'a str,
    /// Where it goes on without.
    pub without: &'a str,
    /// The code of the authority's certificate.
    pub fingerprint: &'a str,
}

/// Steps to trust a shop's certificate, in our words. The settings' names are those of the systems' own manuals: Apple,
/// "Trust manually installed certificate profiles" (support.apple.com/102390); Android Help, "Add & remove certificates"
/// (support.google.com/pixelphone/answer/2844832).
pub fn welcome(it: &Welcome) -> String {
    let [shop, probe, next, without] = [it.shop, it.probe, it.next, it.without].map(escape);
    let body = format!(
        r#"<div id="trust" data-probe="{probe}" data-next="{next}">
<h1>{shop}: one step first</h1>
<p>Do this once on each device. Then the app opens without a network, keeps what you measure, and nobody on the Wi-Fi can read along.</p>
<p id="trusted" role="status"></p>
<p><a class="button" href="{CERTIFICATE_PATH}" download>Get the shop's certificate</a></p>
<details><summary>iPhone and iPad</summary>
<ol>
<li>Open this page in Safari and get the certificate. Allow the download.</li>
<li>Settings, top of the list: <b>Profile Downloaded</b>. Install it.</li>
<li>Settings, General, About, at the very end: <b>Certificate Trust Settings</b>. Switch on <b>Napline of {shop}</b>. Without this step nothing changes.</li>
</ol></details>
<details><summary>Android</summary>
<ol>
<li>Get the certificate. The file lies in Downloads.</li>
<li>Settings: search for <b>CA certificate</b> (Security, Encryption &amp; credentials, Install a certificate). Android warns; it wants a screen lock.</li>
<li>Choose <b>napline-shop.crt</b>.</li>
</ol></details>
<details><summary>A computer</summary>
<p>Get the certificate, open the file, and put it under the trusted root authorities: Windows asks for it, the Mac's Keychain Access too. Firefox has a list of its own under Settings, Privacy &amp; Security, Certificates.</p></details>
<details><summary>Is that safe?</summary>
<p>The certificate can vouch only for names that end in .local and for addresses inside a private network, not for any site on the Internet. Before you trust it, compare its SHA-256 code with the one that the shop's computer shows:</p>
<p><code>{fingerprint}</code></p></details>
<p><button type="button" id="check">Done: check it and go on</button></p>
<details><summary>Go on without it</summary>
<p>You can measure, compute and share right away. An open page keeps working without a network, and what you typed stays on this device. But: a closed page may not open again until the server is in reach, the browser may clear the page's memory when it needs room, and whoever listens on this network can read along.</p>
<p>Measured without it and changed your mind? Join again here: what the chip shows as waiting must be shared first, as the secure page keeps its own memory.</p>
<p><a class="button" id="without" href="{without}">Go on without</a></p></details>
</div>
<script src="{CHECK_PATH}" defer></script>"#,
        fingerprint = it.fingerprint,
    );
    page("Trust this shop", &body)
}

fn page(title: &str, body: &str) -> String {
    format!(
        r#"<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title>
<link rel="stylesheet" href="{STYLE_PATH}">
</head>
<body>
{body}
</body>
</html>
"#
    )
}

fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for it in text.chars() {
        match it {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            other => escaped.push(other),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    #[test]
    fn a_shop_name_cannot_write_html() {
        assert!(
            super::join("<b>\"O'Hara & Sons\"</b>")
                .contains("<h1>Join &lt;b&gt;&quot;O&#39;Hara &amp; Sons&quot;&lt;/b&gt;</h1>")
        );
    }
}
