//! The few pages that the server writes itself, for those who are not in yet. No scripts.

/// Path of the pages' style sheet.
pub const STYLE_PATH: &str = "/join/page.css";

pub const STYLE: &str = "\
:root { color-scheme: light dark; font: 18px/1.5 system-ui, sans-serif; }
body { max-width: 30rem; margin: 0 auto; padding: 2rem 1rem; }
h1 { font-size: 1.4rem; }
label { display: block; margin-top: 1rem; }
input { display: block; width: 100%; box-sizing: border-box; font: inherit; padding: .7rem; min-height: 48px; }
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
