module charwarden

go 1.26.0

toolchain go1.26.11

require (
	github.com/eclipse/paho.mqtt.golang v1.5.1
	github.com/grafana/grafana-foundation-sdk/go v0.0.22
	github.com/mochi-mqtt/server/v2 v2.7.9
	github.com/ncruces/go-sqlite3 v0.37.0
	github.com/pelletier/go-toml/v2 v2.4.3
	github.com/prometheus/client_golang v1.25.0
	github.com/prometheus/client_model v0.6.3
	github.com/prometheus/common v0.73.1
	github.com/rogpeppe/go-internal v1.16.0
	golang.org/x/image v0.48.0
	golang.org/x/net v0.61.0
	golang.org/x/sys v0.50.0
	gonum.org/v1/plot v0.17.0
	periph.io/x/conn/v3 v3.7.3
	periph.io/x/devices/v3 v3.7.4
	periph.io/x/host/v3 v3.8.5
)

require (
	codeberg.org/go-latex/latex v0.2.0 // indirect
	git.sr.ht/~sbinet/gg v0.7.0 // indirect
	github.com/ajstarks/svgo v0.0.0-20211024235047-1546f124cd8b // indirect
	github.com/beorn7/perks v1.0.1 // indirect
	github.com/cespare/xxhash/v2 v2.3.0 // indirect
	github.com/golang/freetype v0.0.0-20170609003504-e2365dfdc4a0 // indirect
	github.com/gorilla/websocket v1.5.3 // indirect
	github.com/kylelemons/godebug v1.1.0 // indirect
	github.com/munnerz/goautoneg v0.0.0-20191010083416-a7dc8b61c822 // indirect
	github.com/ncruces/go-sqlite3-wasm/v6 v6.5.35401 // indirect
	github.com/ncruces/julianday v1.0.0 // indirect
	github.com/pandatix/go-abnf v0.5.3 // indirect
	github.com/prometheus/procfs v0.22.0 // indirect
	github.com/rs/xid v1.4.0 // indirect
	golang.org/x/sync v0.25.0 // indirect
	golang.org/x/text v0.44.0 // indirect
	golang.org/x/tools v0.52.0 // indirect
	google.golang.org/protobuf v1.36.12 // indirect
	gopkg.in/yaml.v3 v3.0.1 // indirect
)
