//! Who works in the shop: partners, and helpers who weigh in.

use sqlx::FromRow;

use super::activity::Noun;
use super::sessions::end_sessions_of;
use super::{By, RowError, Store, StoreError, Tx, add_once, changed_one, stamp};

/// What somebody may do in the shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Everything.
    Partner,
    /// Weigh in, and nothing else.
    Helper,
}

impl Role {
    pub const ALL: [Role; 2] = [Role::Partner, Role::Helper];

    pub const fn code(self) -> &'static str {
        match self {
            Role::Partner => "partner",
            Role::Helper => "helper",
        }
    }

    pub fn from_code(code: &str) -> Option<Role> {
        Self::ALL.into_iter().find(|role| role.code() == code)
    }
}

/// Somebody who works, or worked, in the shop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Partner {
    pub id: String,
    pub name: String,
    pub role: Role,
}

impl Partner {
    pub fn is_helper(&self) -> bool {
        self.role == Role::Helper
    }
}

/// The same with what the list of people shows.
#[derive(Debug, Clone)]
pub struct PartnerRecord {
    pub partner: Partner,
    /// Whether they have chosen a passphrase yet.
    pub can_sign_in: bool,
    pub has_left: bool,
    pub version: i64,
}

/// Why somebody cannot be changed like that. The text says what to do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PartnerRefusal {
    #[error("The shop needs a partner who can sign in. Let another partner choose a passphrase first.")]
    LastPartner,
}

#[derive(FromRow)]
struct PartnerRow {
    id: String,
    name: String,
    role: String,
    passphrase: Option<String>,
    left_at: Option<String>,
    version: i64,
}

impl TryFrom<PartnerRow> for PartnerRecord {
    type Error = RowError;

    fn try_from(row: PartnerRow) -> Result<PartnerRecord, RowError> {
        Ok(PartnerRecord {
            partner: Partner {
                id: row.id,
                name: row.name,
                role: RowError::read("partners", "role", &row.role, Role::from_code)?,
            },
            can_sign_in: row.passphrase.is_some(),
            has_left: row.left_at.is_some(),
            version: row.version,
        })
    }
}

/// A person with the hash of their passphrase, to sign in by.
#[derive(Debug)]
pub struct Account {
    pub partner: Partner,
    pub passphrase: Option<String>,
}

impl Store {
    /// Everybody who works or worked here: who is here first, by name.
    pub async fn people(&self, shop_id: &str) -> Result<Vec<PartnerRecord>, StoreError> {
        let sql = "SELECT id, name, role, passphrase, left_at, version FROM partners WHERE shop_id = $1 \
                   ORDER BY CASE WHEN left_at IS NULL THEN 0 ELSE 1 END, name";
        let rows: Vec<PartnerRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        Ok(rows.into_iter().map(PartnerRecord::try_from).collect::<Result<_, _>>()?)
    }

    pub async fn person(&self, shop_id: &str, id: &str) -> Result<PartnerRecord, StoreError> {
        let sql = "SELECT id, name, role, passphrase, left_at, version FROM partners \
                   WHERE shop_id = $1 AND id = $2";
        let row: PartnerRow = sqlx::query_as(sql).bind(shop_id).bind(id).fetch_one(self.readers()).await?;
        Ok(row.try_into()?)
    }

    /// Who works here under this name, however it is capitalised.
    pub async fn account(&self, shop_id: &str, name: &str) -> Result<Option<Account>, StoreError> {
        let sql = "SELECT id, name, role, passphrase, left_at, version FROM partners \
                   WHERE shop_id = $1 AND left_at IS NULL ORDER BY name";
        let rows: Vec<PartnerRow> = sqlx::query_as(sql).bind(shop_id).fetch_all(self.readers()).await?;
        // The databases differ in how they fold letters beyond ASCII.
        let wanted = name.trim().to_lowercase();
        let exact = rows.iter().position(|row| row.name == name.trim());
        let found = exact.or_else(|| rows.iter().position(|row| row.name.to_lowercase() == wanted));
        let Some(mut row) = found.and_then(|index| rows.into_iter().nth(index)) else { return Ok(None) };
        let passphrase = row.passphrase.take();
        Ok(Some(Account { partner: PartnerRecord::try_from(row)?.partner, passphrase }))
    }

    /// Adds somebody. The same id a second time changes nothing: the form was sent twice. [`StoreError::Duplicate`] if
    /// another one has the name.
    pub async fn create_partner(&self, by: &By, partner: &Partner) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        if add_partner(&mut tx, by, partner).await? {
            tx.note(by, Noun::Partner, &partner.id, "added", partner.role.code()).await?;
        }
        tx.commit().await
    }

    /// Changes name and role; [`StoreError::Stale`] if they changed since `version`, [`StoreError::Duplicate`] if
    /// another one has the name.
    pub async fn save_partner(&self, by: &By, version: i64, partner: &Partner) -> Result<(), StoreError> {
        let mut tx = self.begin_alone().await?;
        let sql = "UPDATE partners SET name = $4, role = $5, version = version + 1 \
                   WHERE shop_id = $1 AND id = $2 AND version = $3";
        let done = sqlx::query(sql)
            .bind(&by.shop_id)
            .bind(&partner.id)
            .bind(version)
            .bind(&partner.name)
            .bind(partner.role.code())
            .execute(&mut *tx)
            .await?;
        changed_one(done.rows_affected())?;
        a_partner_is_left(&mut tx, &by.shop_id).await?;
        tx.note(by, Noun::Partner, &partner.id, "changed", partner.role.code()).await?;
        tx.commit().await
    }

    /// They no longer work here: their phones are signed out, and what they did stays under their name.
    pub async fn let_go(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin_alone().await?;
        set_left(&mut tx, by, id, version, Some(stamp(by.at))).await?;
        a_partner_is_left(&mut tx, &by.shop_id).await?;
        end_sessions_of(&mut tx, by, id, None).await?;
        tx.note(by, Noun::Partner, id, "left", "").await?;
        tx.commit().await
    }

    /// They work here again, with the passphrase they had.
    pub async fn take_back(&self, by: &By, id: &str, version: i64) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        set_left(&mut tx, by, id, version, None).await?;
        tx.note(by, Noun::Partner, id, "came back", "").await?;
        tx.commit().await
    }
}

async fn set_left(
    tx: &mut Tx,
    by: &By,
    id: &str,
    version: i64,
    left_at: Option<String>,
) -> Result<(), StoreError> {
    let sql = "UPDATE partners SET left_at = $4, version = version + 1 \
               WHERE shop_id = $1 AND id = $2 AND version = $3";
    let query = sqlx::query(sql).bind(&by.shop_id).bind(id).bind(version).bind(left_at);
    changed_one(query.execute(&mut **tx).await?.rows_affected())
}

/// Refused where nobody would be left who could let anybody in.
async fn a_partner_is_left(tx: &mut Tx, shop_id: &str) -> Result<(), StoreError> {
    let sql = "SELECT CAST(COUNT(*) AS BIGINT) FROM partners \
               WHERE shop_id = $1 AND role = 'partner' AND left_at IS NULL AND passphrase IS NOT NULL";
    let (left,): (i64,) = sqlx::query_as(sql).bind(shop_id).fetch_one(&mut **tx).await?;
    if left == 0 { Err(PartnerRefusal::LastPartner.into()) } else { Ok(()) }
}

/// Adds somebody inside `tx`; false if they are there with the same id already, and left as they are.
pub async fn add_partner(tx: &mut Tx, by: &By, partner: &Partner) -> Result<bool, StoreError> {
    let sql = "INSERT INTO partners (id, shop_id, name, role, created_at) VALUES ($1, $2, $3, $4, $5) \
               ON CONFLICT DO NOTHING";
    let insert = sqlx::query(sql)
        .bind(&partner.id)
        .bind(&by.shop_id)
        .bind(&partner.name)
        .bind(partner.role.code())
        .bind(stamp(by.at));
    let there = "SELECT id FROM partners WHERE shop_id = $1 AND id = $2";
    add_once(tx, insert, there, &by.shop_id, &partner.id).await
}

/// Keeps the hash of a passphrase inside `tx`.
pub async fn set_passphrase(tx: &mut Tx, by: &By, id: &str, hash: &str) -> Result<(), StoreError> {
    let sql = "UPDATE partners SET passphrase = $3, version = version + 1 WHERE shop_id = $1 AND id = $2";
    let query = sqlx::query(sql).bind(&by.shop_id).bind(id).bind(hash);
    if query.execute(&mut **tx).await?.rows_affected() == 0 {
        return Err(StoreError::Missing);
    }
    tx.note(by, Noun::Partner, id, "chose a passphrase", "").await
}
