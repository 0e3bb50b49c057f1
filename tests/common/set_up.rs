//! The shop that every story begins with, set up once: a story on SQLite gets a copy of its file, one on Postgres a copy of
//! its database.

use std::path::Path;
use std::sync::LazyLock;

use jiff::Timestamp;
use pennyweight::catalogue;
use pennyweight::secret::Token;
use pennyweight::store::partners::{Partner, Role, add_partner};
use pennyweight::store::sessions::{NewSession, begin_session};
use pennyweight::store::shops::add_shop;
use pennyweight::store::{By, Place, Store, new_id};
use tokio::sync::OnceCell;

/// What the stories know of it.
pub struct SetUp {
    pub id: String,
    pub partners: [Partner; 2],
    pub tokens: [Token; 2],
}

pub static SET_UP: LazyLock<SetUp> = LazyLock::new(|| SetUp {
    id: new_id(),
    partners: ["Imke", "Tobias"].map(|name| Partner { id: new_id(), name: name.into(), role: Role::Partner }),
    tokens: [Token::random(), Token::random()],
});

static FILE: OnceCell<Vec<u8>> = OnceCell::const_new();

/// Puts a copy of it into `folder`.
pub async fn file(folder: &Path, name: &str) -> Place {
    let bytes = FILE.get_or_init(|| async {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let path = folder.path().join("shop.db");
        at(&Place::File(path.clone())).await;
        assert!(!folder.path().join("shop.db-wal").exists(), "the store that was closed is one file");
        std::fs::read(path).expect("the file")
    });
    let path = folder.join(name);
    std::fs::create_dir_all(folder).expect("a folder");
    std::fs::write(&path, bytes.await).expect("room for a copy");
    Place::File(path)
}

/// Sets the shop up in an empty record.
pub async fn at(place: &Place) {
    let store = Store::open(place).await.expect("the store opens");
    let SetUp { id, partners, tokens } = &*SET_UP;
    let by = By { shop_id: id.clone(), partner_id: partners[0].id.clone(), at: Timestamp::now() };
    let mut tx = store.begin().await.expect("the store can be written to");
    add_shop(&mut tx, &by, &super::settings(), &partners[0]).await.expect("a shop");
    for (partner, token) in partners.iter().zip(tokens) {
        add_partner(&mut tx, &by, partner).await.expect("a partner");
        let by = By { partner_id: partner.id.clone(), ..by.clone() };
        let session = NewSession { id: &new_id(), token_sha256: &token.hash(), phone: "a test" };
        begin_session(&mut tx, &by, &session).await.expect("a session");
    }
    catalogue::fill(&mut tx, id).await.expect("the catalogue");
    tx.commit().await.expect("the set-up is saved");
    store.close().await;
}
