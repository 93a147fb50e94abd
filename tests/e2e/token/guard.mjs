// A general OAuth 2.0 authorization server, and a guard before a record server that lets in only who
// brings a token it gave: node guard.mjs UPSTREAM RSA.pem P384.pem JWKS.json
// The key set is what the clients register; it has to be what this runtime makes of the two keys.
// Prints BASE= and the address of the guarded FHIR service, and one line for each token it gives.
import { createPublicKey } from "node:crypto";
import { readFileSync } from "node:fs";
import http from "node:http";
import { deepStrictEqual } from "node:assert";
import { calculateJwkThumbprint } from "jose";
import Provider from "oidc-provider";

const [upstream, rsaFile, curveFile, keySetFile] = process.argv.slice(2);
const keySet = JSON.parse(readFileSync(keySetFile));
const own = async (file, alg, kid) => {
  const key = createPublicKey(readFileSync(file)).export({ format: "jwk" });
  return { ...key, alg, use: "sig", kid: kid ?? (await calculateJwkThumbprint(key)) };
};
deepStrictEqual(keySet, {
  keys: [await own(rsaFile, "RS384", "named-by-the-site"), await own(curveFile, "ES384")],
});
const scopes = ["Patient.rs", "Practitioner.rs", "Organization.rs", "Encounter.rs", "Device.crs", "Provenance.crs", "Observation.crus"]
  .map((scope) => `system/${scope}`);

const client = (id, alg) => ({
  client_id: id,
  grant_types: ["client_credentials"],
  redirect_uris: [],
  response_types: [],
  scope: scopes.join(" "),
  token_endpoint_auth_method: "private_key_jwt",
  token_endpoint_auth_signing_alg: alg,
  jwks: { keys: keySet.keys.filter((key) => key.alg === alg) },
});

const server = http.createServer();
await new Promise((done) => server.listen(0, "127.0.0.1", done));
const issuer = `http://127.0.0.1:${server.address().port}`;
const provider = new Provider(issuer, {
  clients: [client("rsa", "RS384"), client("curve", "ES384")],
  clientAuthMethods: ["private_key_jwt"],
  enabledJWA: { clientAuthSigningAlgValues: ["RS384", "ES384"] },
  features: { clientCredentials: { enabled: true }, devInteractions: { enabled: false } },
  scopes,
  ttl: { ClientCredentials: 300 },
});
provider.on("client_credentials.saved", (token) => console.log(`TOKEN ${token.clientId} ${token.scope}`));
provider.on("grant.error", (context, error) => console.log(`REFUSED ${error.error}: ${error.error_detail ?? ""}`));
const sign_in = provider.callback();

const answer = (response, status, body) => {
  response.writeHead(status, { "content-type": "application/json" });
  response.end(JSON.stringify(body));
};

server.on("request", async (request, response) => {
  if (!request.url.startsWith("/fhir")) {
    sign_in(request, response);
    return;
  }
  if (request.url === "/fhir/.well-known/smart-configuration") {
    answer(response, 200, {
      token_endpoint: `${issuer}/token`,
      grant_types_supported: ["client_credentials"],
      token_endpoint_auth_methods_supported: ["private_key_jwt"],
      token_endpoint_auth_signing_alg_values_supported: ["RS384", "ES384"],
    });
    return;
  }
  const said = /^Bearer (.+)$/.exec(request.headers.authorization ?? "");
  const token = said && (await provider.ClientCredentials.find(said[1]));
  if (!token || token.isExpired) {
    answer(response, 401, { resourceType: "OperationOutcome", issue: [{ severity: "error", code: "login" }] });
    return;
  }
  const target = new URL(upstream + request.url.slice("/fhir".length));
  const headers = { ...request.headers, host: target.host };
  delete headers.authorization;
  const passed = http.request(target, { method: request.method, headers }, (back) => {
    response.writeHead(back.statusCode, back.headers);
    back.pipe(response);
  });
  passed.on("error", () => answer(response, 502, {}));
  request.pipe(passed);
});

console.log(`BASE=${issuer}/fhir`);
