// The sync server of automerge-repo as its makers run it, but without storage: everything stays in memory.
import { Repo } from "@automerge/automerge-repo"
import { NodeWSServerAdapter } from "@automerge/automerge-repo-network-websocket"
import { WebSocketServer } from "ws"

const server = new WebSocketServer({ host: "127.0.0.1", port: Number(process.env.PORT) })
new Repo({
  network: [new NodeWSServerAdapter(server)],
  peerId: "server",
  sharePolicy: async () => false,
})
