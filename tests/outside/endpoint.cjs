// A SPARQL 1.1 endpoint on loopback over one file of N-Triples, for the tests: node endpoint.cjs FILE PORT.
// The engine is the npm package `oxigraph`, found through NODE_PATH.
const fs = require("node:fs");
const http = require("node:http");
const oxigraph = require("oxigraph");

const store = new oxigraph.Store();
store.load(fs.readFileSync(process.argv[2], "utf8"), { format: "application/n-triples" });

const server = http.createServer((request, reply) => {
  const chunks = [];
  request.on("data", (chunk) => chunks.push(chunk));
  request.on("end", () => {
    const type = request.headers.accept;
    try {
      if (request.headers["content-type"] !== "application/sparql-query") throw new Error("no query");
      const found = store.query(Buffer.concat(chunks).toString("utf8"), { results_format: type });
      reply.writeHead(200, { "Content-Type": type });
      reply.end(found);
    } catch (error) {
      reply.writeHead(400, { "Content-Type": "text/plain" });
      reply.end(String(error.message ?? error));
    }
  });
});
server.listen(Number(process.argv[3]), "127.0.0.1");
