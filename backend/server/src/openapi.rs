//! The description of the interface, made from the code (OpenAPI 3.1).
//!
//! What every operation shares is added here once: how a problem looks, and what to authorise
//! with, from each operation's access policy. What may not enter: single operations.

use actix_web::web::{Data, Json};
use actix_web::{App, get};
use spareloop_api::BASE;
use spareloop_api::access::Access;
use spareloop_api::problem::Problem;
use utoipa::openapi::path::{Operation, PathItem};

use utoipa::openapi::security::{Http, HttpAuthScheme, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{Content, ContentBuilder, OpenApi, Ref, RefOr, ResponseBuilder};
use utoipa::{OpenApi as _, ToSchema as _};
use utoipa_actix_web::{AppExt, scope};

use crate::auth::policy::{EXTENSION, Policies};
use crate::routes;

#[derive(utoipa::OpenApi)]
#[openapi(
    info(
        title = "spareloop",
        description = "What a farm's client says to its network's server. Problems come as RFC 9457 with a stable code and a hint.",
        license(name = "Apache-2.0 OR MIT", identifier = "Apache-2.0 OR MIT")
    ),
    components(schemas(Problem)),
    tags(
        (name = "people", description = "Set-up, sign-in, networks, invitations"),
        (name = "devices", description = "Devices of a farm"),
        (name = "ledger", description = "Sync, by a device's token"),
        (name = "stock", description = "The farm's stock"),
        (name = "exchange", description = "Offers, wants, matches, the owed book, messages"),
        (name = "holds", description = "From the asking to the receipt"),
        (name = "photos", description = "Photos beside offers, holds and claims"),
        (name = "rounds", description = "Rounds, what they propose, swap days, limits"),
        (name = "statements", description = "Keys for signing, and signed statements about lots"),
        (name = "channels", description = "E-mail, signed webhooks, feed and calendar by which a farm is told things"),
        (name = "health", description = "For whoever runs the server"),
    )
)]
struct Described;

/// The document of everything that is served.
pub fn document() -> OpenApi {
    let (_, mut document) = App::new()
        .into_utoipa_app()
        .openapi(Described::openapi())
        .configure(routes::health::configure)
        .configure(routes::fetched::configure)
        .service(scope::scope(BASE).configure(routes::configure))
        .configure(|config| {
            config.service(serve);
        })
        .split_for_parts();
    add_security_schemes(&mut document);
    for item in document.paths.paths.values_mut() {
        for operation in operations_mut(item) {
            add_what_all_share(operation);
        }
    }
    document
}

/// The document as it is served, with the policies that it declares.
#[derive(Clone)]
pub struct Document(pub OpenApi);

impl std::fmt::Debug for Document {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Document")
    }
}

impl Document {
    /// Describes what is served.
    pub fn new() -> Self {
        Self(document())
    }

    /// The policies that it declares.
    pub fn policies(&self) -> Result<Policies, crate::auth::policy::NoPolicy> {
        Policies::read(&self.0)
    }
}

impl Default for Document {
    fn default() -> Self {
        Self::new()
    }
}

/// This description.
#[utoipa::path(tag = "health", operation_id = "openapi",
    responses((status = 200, description = "OpenAPI 3.1", body = Object)),
    extensions(("x-access" = json!("anybody"))))]
#[get("/openapi.json")]
pub(crate) async fn serve(document: Data<Document>) -> Json<OpenApi> {
    Json(document.0.clone())
}

fn operations_mut(item: &mut PathItem) -> impl Iterator<Item = &mut Operation> {
    [
        item.get.as_mut(),
        item.put.as_mut(),
        item.post.as_mut(),
        item.delete.as_mut(),
        item.patch.as_mut(),
    ]
    .into_iter()
    .flatten()
}

fn add_what_all_share(operation: &mut Operation) {
    let access = operation
        .extensions
        .as_ref()
        .and_then(|extensions| extensions.get(EXTENSION))
        .and_then(|value| serde_json::from_value::<Access>(value.clone()).ok());
    operation.security = Some(match access {
        Some(Access::Anybody) | None => Vec::new(),
        Some(Access::Device) => vec![requirement("device")],
        Some(Access::Person | Access::Coordinator | Access::Grower) => vec![requirement("person")],
    });
    let problem: Content = ContentBuilder::new()
        .schema(Some(RefOr::Ref(Ref::from_schema_name(Problem::name()))))
        .build();
    let refused = ResponseBuilder::new()
        .description("A problem, with a stable code and a hint")
        .content("application/problem+json", problem)
        .build();
    operation.responses.responses.insert("default".to_owned(), refused.into());
}

fn requirement(scheme: &str) -> SecurityRequirement {
    SecurityRequirement::new::<_, _, String>(scheme, [])
}

fn add_security_schemes(document: &mut OpenApi) {
    let components = document.components.get_or_insert_default();
    let bearer = || SecurityScheme::Http(Http::new(HttpAuthScheme::Bearer));
    components.security_schemes.insert("person".to_owned(), bearer().into());
    components.security_schemes.insert("device".to_owned(), bearer().into());
}
