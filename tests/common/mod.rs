//! The harness of the stories: a shop that is set up, on either database, and phones that visit it through HTTP.
//!
//! A story is an `async fn name(shop: &TestShop)` that does what a person does: `shop.get("/lots")` opens a page,
//! `page.form("form[action$='/weigh']").set("reading", "2 lb 5 oz")` fills in the form that the page has, and
//! `shop.submit(form)` sends what a browser would and comes back with the page it ends at. `page.text(".figure")` and
//! `page.says("…")` look at elements. `shop.store` is there to set things up and to look behind the pages. The list
//! `on_both![name, …]` at the top of each file runs its stories on SQLite and on Postgres
//! (`weigh::on_postgres::name`); each gets a shop of its own in a database of its own, and at its end the record is
//! proved sound. A story that is in no list is reported by the compiler as never used.
//!
//! No network is used: requests go straight into the router.

mod form;
pub mod market;
mod page;
mod phone;
pub mod postgres;
mod record;
mod set_up;

use std::path::Path;
use std::time::Duration;

use jiff::Timestamp;
use jiff::civil::Date;
use pennyweight::catalogue;
use pennyweight::secret::Token;
use pennyweight::store::containers::{ContainerDetails, ContainerKind};
use pennyweight::store::lots::{Lot, NewLot, Target};
use pennyweight::store::partners::{Partner, Role};
use pennyweight::store::shops::{ShopSettings, add_shop};
use pennyweight::store::weighings::{NewWeighing, WeighingKind};
use pennyweight::store::{By, Place, Store, new_id};
use pennyweight::web::{App, Config, router};
use rust_decimal::dec;
use sqlx::{AnyConnection, Connection};
use tempfile::TempDir;
use trade::costs::Costs;
use trade::mass::{Mass, MassStyle};
use trade::money::{Currency, Share};
use trade::reading::{Reading, read};

pub use form::Form;
pub use page::Page;
pub use phone::{Phone, SHOP_HOST};
use set_up::SET_UP;

/// Runs each story on both databases. Used once at the top of a file, as its table of contents.
macro_rules! on_both {
    ($($story:ident),+ $(,)?) => {
        mod on_sqlite {
            $(#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn $story() {
                let shop = crate::common::TestShop::on_sqlite().await;
                super::$story(&shop).await;
                shop.close().await;
            })+
        }
        mod on_postgres {
            $(#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn $story() {
                let shop = crate::common::TestShop::on_postgres().await;
                super::$story(&shop).await;
                shop.close().await;
            })+
        }
    };
}
pub(crate) use on_both;

/// A shop with two partners and the grade catalogue, and nothing on the shelf.
pub struct TestShop {
    pub store: Store,
    /// The shop's id.
    pub id: String,
    pub partners: [Partner; 2],
    /// What the cookies of their phones hold.
    tokens: [Token; 2],
    /// Where the database is, for a second process to open.
    pub place: Place,
    phone: Phone,
    keeper: Keeper,
}

/// What goes when the shop closes.
enum Keeper {
    Nobody,
    Folder(TempDir),
    Database(postgres::TestDatabase),
}

impl TestShop {
    pub async fn on_sqlite() -> TestShop {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let place = set_up::file(folder.path(), "shop.db").await;
        TestShop::at(place, Keeper::Folder(folder)).await
    }

    /// On SQLite in a folder that is not this shop's to remove.
    pub async fn in_folder(folder: &Path) -> TestShop {
        TestShop::at(set_up::file(folder, "pennyweight.db").await, Keeper::Nobody).await
    }

    pub async fn on_postgres() -> TestShop {
        let database = postgres::database_with_a_shop().await;
        TestShop::at(Place::Postgres(database.address.clone()), Keeper::Database(database)).await
    }

    async fn at(place: Place, keeper: Keeper) -> TestShop {
        let store = Store::open(&place).await.expect("the store opens");
        let set_up = &*SET_UP;
        let (id, partners, tokens) = (set_up.id.clone(), set_up.partners.clone(), set_up.tokens.clone());
        let config = config(vec!["shopbox.local".into()]);
        let phone = Phone::new(router(App::new(store.clone(), config)));
        phone.sign_in(&tokens[0]);
        TestShop { store, id, partners, tokens, place, phone, keeper }
    }

    /// Opens an address on the first partner's phone.
    pub async fn get(&self, url: &str) -> Page {
        self.phone.get(url).await
    }

    /// Sends a form from the first partner's phone.
    pub async fn submit(&self, form: Form) -> Page {
        self.phone.submit(form).await
    }

    /// The first partner's phone, to send what no page would.
    pub fn phone(&self) -> &Phone {
        &self.phone
    }

    /// Another phone, held by `partner`.
    pub fn phone_of(&self, partner: &Partner) -> Phone {
        let phone = phone_to(&self.store);
        let index = self.partners.iter().position(|known| known.id == partner.id).expect("one of the two");
        phone.sign_in(&self.tokens[index]);
        phone
    }

    /// The first partner's phone, with pages that wait for no plan.
    pub fn hurried_phone(&self) -> Phone {
        let config = Config { patience: Duration::ZERO, ..config(Vec::new()) };
        let phone = Phone::new(router(App::new(self.store.clone(), config)));
        phone.sign_in(&self.tokens[0]);
        phone
    }

    /// The first partner's phone, on a copy of the record.
    pub fn phone_on(&self, copy: &Store) -> Phone {
        let phone = phone_to(copy);
        phone.sign_in(&self.tokens[0]);
        phone
    }

    /// The first partner, now.
    pub fn by(&self) -> By {
        By { shop_id: self.id.clone(), partner_id: self.partners[0].id.clone(), at: Timestamp::now() }
    }

    /// Opens a second shop in the same record; gives who opened it.
    pub async fn open_another(&self) -> By {
        let by = By { shop_id: new_id(), partner_id: new_id(), at: Timestamp::now() };
        let first = Partner { id: by.partner_id.clone(), name: "Wim".into(), role: Role::Partner };
        let settings = ShopSettings { name: "Next Door Scrap".into(), ..settings() };
        let mut tx = self.store.begin().await.expect("a transaction");
        add_shop(&mut tx, &by, &settings, &first).await.expect("a second shop");
        catalogue::fill(&mut tx, &by.shop_id).await.expect("its catalogue");
        tx.commit().await.expect("it is saved");
        by
    }

    /// A phone that nobody is signed in on.
    pub fn strange_phone(&self) -> Phone {
        phone_to(&self.store)
    }

    /// Opens a lot of `grade` in a new bag that weighs two ounces, and gives its id.
    pub async fn bag(&self, label: &str, grade: &str) -> String {
        let id = new_id();
        let details = ContainerDetails { label: label.into(), kind: ContainerKind::Bag, tare: mass("2 oz") };
        let lot = NewLot {
            id: &id,
            container: Target::New { id: new_id(), details },
            grade: grade.into(),
            source: "",
        };
        self.store.open_lot(&self.by(), &lot).await.expect("a lot opens");
        id
    }

    /// Puts a net mass on a lot and gives the weighing's id.
    pub async fn put(&self, lot: &str, net: &str) -> String {
        let id = new_id();
        let weighing = NewWeighing {
            id: id.as_str().into(),
            net: mass(net),
            gross: mass(net),
            typed: net,
            ..NewWeighing::transfer(lot, WeighingKind::WeighIn)
        };
        self.store.weigh_in(&self.by(), &weighing).await.expect("the lot takes it");
        id
    }

    /// Today in the shop.
    pub fn today(&self) -> Date {
        Timestamp::now().in_tz(&settings().zone).expect("a zone").date()
    }

    pub async fn lot(&self, id: &str) -> Lot {
        self.store.lot(&self.id, id).await.expect("the lot is there")
    }

    /// Retires a grade, as a partner does on its page.
    pub async fn retire_grade(&self, grade: &str) {
        let mut connection = self.connect().await;
        let sql =
            "UPDATE grades SET retired_at = '2026-01-05T10:00:00.000Z', version = version + 1 WHERE id = $1";
        sqlx::query(sql).bind(grade).execute(&mut connection).await.expect("the grade is there");
    }

    pub fn is_on_postgres(&self) -> bool {
        matches!(self.place, Place::Postgres(_))
    }

    /// A connection of its own to the database, such as another program has.
    pub async fn connect(&self) -> AnyConnection {
        let address = match &self.place {
            Place::File(path) => format!("sqlite:{}", path.display()),
            Place::Postgres(address) => address.clone(),
        };
        AnyConnection::connect(&address).await.expect("the database answers")
    }

    /// Does to the database what this program would not.
    pub async fn execute(&self, sql: &'static str) {
        sqlx::query(sql).execute(&mut self.connect().await).await.expect("the database does it");
    }

    /// Every row of every table as text, to compare before and after.
    pub async fn everything(&self) -> Vec<String> {
        record::everything(&mut self.connect().await, &self.place).await
    }

    /// The names of all tables, sorted.
    pub async fn tables(&self) -> Vec<String> {
        record::tables(&mut self.connect().await, &self.place).await
    }

    /// Ends the story: the record has to be sound; a file as the next start finds it.
    pub async fn close(self) {
        let store = match &self.place {
            // Its connections know the schema already: a new one needs three times as long for the check.
            Place::Postgres(_) if self.store.answers().await.is_ok() => self.store,
            _ => {
                self.store.close().await;
                Store::open(&self.place).await.expect("the store opens again")
            }
        };
        assert_eq!(store.check().await.expect("the record can be checked"), Vec::<String>::new());
        store.close().await;
        match self.keeper {
            Keeper::Nobody => {}
            Keeper::Folder(folder) => folder.close().expect("the folder can be removed"),
            Keeper::Database(database) => database.drop().await,
        }
    }
}

/// A passphrase that will do.
pub const PASSPHRASE: &str = "copper kettle on thursday";

/// A phone that sees whatever `store` holds, with nobody signed in on it.
pub fn phone_to(store: &Store) -> Phone {
    Phone::new(router(App::new(store.clone(), config(Vec::new()))))
}

/// The mass of a reading that means one thing.
#[track_caller]
pub fn mass(typed: &str) -> Mass {
    match read(typed) {
        Ok(Reading::Sure { meaning, .. }) => meaning.mass,
        other => panic!("{typed} is not sure: {other:?}"),
    }
}

fn config(hosts: Vec<String>) -> Config {
    // Workbooks are read by the program itself, which is not this test.
    let reader = env!("CARGO_BIN_EXE_pennyweight").into();
    Config {
        hosts,
        base_url: format!("http://{SHOP_HOST}"),
        reader,
        patience: Duration::from_secs(60),
        ..Config::default()
    }
}

fn settings() -> ShopSettings {
    let share = |share| Share::new(share).expect("a share");
    ShopSettings {
        name: "Heron Street Salvage".into(),
        zone: "America/Detroit".into(),
        style: MassStyle::PoundsOunces,
        costs: Costs {
            home: Currency::USD,
            labour_per_hour: dec!(18),
            truck_per_km: dec!(0.42),
            capital_per_year: share(dec!(0.10)),
            risk_per_year: share(dec!(0.08)),
        },
    }
}
