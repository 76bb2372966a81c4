use napline_tests::phone::Phone;
use napline_tests::server::Server;

use crate::crew::{add_room, feet, go, order, see_walls, start_job};

/// The L, walked clockwise from its south-west corner, and what must be ordered for it:
///
/// ```text
///      7'            north
///    ┌─────┐           ↑
///    │     │ 7'
/// 14'│     └───┐ 4'
///    │         │ 7'
///    └─────────┘
///        11'
/// ```
///
/// Pile north: one breadth. Across it is 11' + 2 × 3" wall allowance = 11' 6", which a 12' roll has. Along it is the largest
/// extent, 14', + 2 × 3" = 14' 6". Every north line through the left 7' is 14' long and must be covered, and pieces for it
/// are more than half a roll wide, so none lie side by side: with this pile nothing is shorter than 14' 6".
///
/// Pile east: 14' across needs two breadths, 14' + 2 × 3" + 2 × 1" seam trim = 14' 8" together, more than a roll, so they do
/// not lie side by side either. The one over the south part is 11' + 6" = 11' 6" long, the other 7' + 6" = 7' 6" less what a fill
/// in two parts (no part under 3') saves: at least 11' 6" + 3' = 14' 6", and more with its cross seam's trims.
///
/// So 14' 6" is the order, in goods that are sold in any length. Rules: design rules of the layout and nest stages; the numbers
/// (3" at walls, 1" at seams) are their defaults.
#[tokio::test]
async fn an_l_shaped_room_gives_the_order_known_by_hand() {
    let server = Server::start();
    let ada = Phone::paired("Ada", &server).await;
    start_job(&ada, "Quarry Lane 4").await;
    add_room(&ada, "Living room").await;
    for wall in [14, 7, 7] {
        feet(&ada, wall).await;
    }
    see_walls(&ada, 3).await;
    ada.press(&["turn"]).await;
    for wall in [4, 7, 11] {
        feet(&ada, wall).await;
    }
    see_walls(&ada, 6).await;
    ada.photograph("measuring-an-l").await;
    ada.tap("#close-ring").await;
    // 7' × 14' + 4' × 7' = 126 square feet.
    ada.see(("#standing", "126")).await;
    assert_eq!(order(&ada).await, "14' 6\"");
    ada.photograph("cuts-of-an-l").await;

    go(&ada, "seams").await;
    ada.see(("[role=radio][aria-checked=true]", "no seam")).await;
    ada.photograph("seams-of-an-l").await;
}
