//! From a file that somebody chose or took to the two pictures of a photo. The browser decodes and encodes: what a camera writes
//! besides the picture is gone with the file.

use js_sys::{Function, Promise, Reflect, Uint8Array};
use leptos::prelude::document;
use shared_model::job::{Picture, PictureHash};
use shared_model::photo::{self, LONGEST_EDGE, MOST_BYTES, MOST_THUMBNAIL_BYTES, NoPicture, Size, THUMBNAIL_EDGE};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{Blob, CanvasRenderingContext2d, File, HtmlCanvasElement, HtmlImageElement, Url};

/// JPEG qualities, the next when a file would be too long.
const QUALITIES: [f64; 3] = [0.8, 0.6, 0.4];

/// The name of scaling in the browser's timeline, where it can be measured.
const TIMELINE: &str = "photo";

/// A picture's file, and what the document says of it.
#[derive(Clone)]
pub struct Shot {
    pub picture: Picture,
    pub file: Vec<u8>,
}

/// Why there is no photo.
#[derive(thiserror::Error, Debug)]
pub enum NoPhoto {
    #[error("This browser cannot read that file as a picture.")]
    Unreadable,
    #[error("This browser does not scale pictures: {0}")]
    Browser(String),
    #[error("The picture cannot be kept: {0}.")]
    NotKept(#[from] NoPicture),
}

impl From<JsValue> for NoPhoto {
    fn from(error: JsValue) -> Self {
        Self::Browser(format!("{error:?}"))
    }
}

/// The picture and its thumbnail.
pub async fn take(file: &File) -> Result<[Shot; 2], NoPhoto> {
    let started = leptos::prelude::window().performance().map(|it| it.now());
    let address = Url::create_object_url_with_blob(file)?;
    let image = HtmlImageElement::new()?;
    image.set_src(&address);
    let decoded = JsFuture::from(image.decode()).await;
    let shots = match decoded {
        Ok(_) => scale(&image).await,
        Err(_) => Err(NoPhoto::Unreadable),
    };
    Url::revoke_object_url(&address)?;
    if let (Some(started), Some(performance)) = (started, leptos::prelude::window().performance()) {
        // A figure for the benchmark; nothing depends on it.
        let _ = performance.mark(&format!("{TIMELINE} {:.0}", performance.now() - started));
    }
    shots
}

async fn scale(image: &HtmlImageElement) -> Result<[Shot; 2], NoPhoto> {
    let size = Size { width: image.natural_width(), height: image.natural_height() };
    if size.width == 0 || size.height == 0 {
        return Err(NoPhoto::Unreadable);
    }
    let (canvas, paint) = canvas(size.within(LONGEST_EDGE))?;
    paint.draw_image_with_html_image_element_and_dw_and_dh(
        image,
        0.0,
        0.0,
        canvas.width().into(),
        canvas.height().into(),
    )?;
    let (small, paint) = self::canvas(size.within(THUMBNAIL_EDGE))?;
    paint.draw_image_with_html_canvas_element_and_dw_and_dh(
        &canvas,
        0.0,
        0.0,
        small.width().into(),
        small.height().into(),
    )?;
    Ok([encode(&canvas, MOST_BYTES).await?, encode(&small, MOST_THUMBNAIL_BYTES).await?])
}

/// A white canvas: a JPEG has no see-through parts.
fn canvas(size: Size) -> Result<(HtmlCanvasElement, CanvasRenderingContext2d), JsValue> {
    let canvas: HtmlCanvasElement = document().create_element("canvas")?.unchecked_into();
    canvas.set_width(size.width);
    canvas.set_height(size.height);
    let paint = canvas.get_context("2d")?.ok_or("no canvas")?;
    let paint: CanvasRenderingContext2d = paint.unchecked_into();
    paint.set_fill_style_str("#fff");
    paint.fill_rect(0.0, 0.0, size.width.into(), size.height.into());
    Reflect::set(&paint, &"imageSmoothingQuality".into(), &"high".into())?;
    Ok((canvas, paint))
}

async fn encode(canvas: &HtmlCanvasElement, most: u32) -> Result<Shot, NoPhoto> {
    let mut file = Vec::new();
    for quality in QUALITIES {
        let made = Promise::new(&mut |done: Function, failed: Function| {
            if let Err(error) = canvas.to_blob_with_type_and_encoder_options(&done, "image/jpeg", &quality.into()) {
                // Nobody hears of an error in telling of an error.
                let _ = failed.call1(&JsValue::NULL, &error);
            }
        });
        let blob: Blob = JsFuture::from(made).await?.dyn_into()?;
        // Some browsers' encoders write segments of their own.
        file = photo::plain(&Uint8Array::new(&JsFuture::from(blob.array_buffer()).await?).to_vec())?;
        if file.len() <= most as usize {
            break;
        }
    }
    let Size { width, height } = photo::vet(&file)?;
    let bytes = u32::try_from(file.len()).unwrap_or(u32::MAX);
    Ok(Shot { picture: Picture { hash: PictureHash::of(&file), bytes, width, height }, file })
}
