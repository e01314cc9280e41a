#pragma once
/// What a server is made with: settings, sources of information, and what an operator may do.
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "server/pipeline/action.hpp"
#include "server/record/write/recorder.hpp"
#include "server/serve/assets.hpp"
#include "server/serve/live_tape.hpp"
#include "server/serve/map/site_map.hpp"

namespace turnstone {

/// How much may wait for a slow viewer (STREAM.md, slow viewers).
struct QueueLimits {
    std::size_t soft_bytes = 256u << 10;         ///< above: queued blocks are replaced by one newest-values message
    std::size_t hard_bytes = 4u << 20;           ///< above: the viewer is closed with 4408
    std::chrono::milliseconds soft_time{30'000}; ///< above `soft_bytes` for longer: closed with 4408
};

/// What an operator chooses has no value of its own here: server/setup/settings.hpp has it.
struct ServeSettings {
    std::string listen_address; ///< numeric IPv4 or IPv6; "0.0.0.0" or "::" for every interface
    std::uint16_t port;         ///< 0: one the system chooses, see Server::port()
    struct Tls {
        std::filesystem::path folder; ///< see tls_identity.hpp
        std::uint16_t port;           ///< 0: one the system chooses
    };
    std::optional<Tls> tls;              ///< https besides http; empty: none
    std::vector<std::string> host_names; ///< names browsers may use for this server besides its addresses, without port
    std::filesystem::path recordings;
    std::string operator_key; ///< at least 16 characters; see random_key.hpp
    struct Sessions {
        std::string kept = {}; ///< what `keep` was given before the last end
        /// Called on the serve thread at the start and after each change; must return at once.
        std::function<void(std::string)> keep = {};
    };
    Sessions sessions = {};        ///< operators', over a restart
    std::span<const Asset> assets; ///< must outlive the server
    SiteMap map = {};
    std::size_t viewers_max;
    std::size_t workers = 3; ///< threads that read recordings, one of them always free for the live one
    QueueLimits queue = {};
    /// Kernel send buffer of a viewer: small, so that a slow phone shows in the server's queue and not behind it.
    int send_buffer_bytes = 64 << 10;
};

/// What the server asks for. Called on the serve thread, often; must be thread-safe and must not wait.
struct ServeSources {
    std::function<std::int64_t()> station_now_ns;
    std::function<std::vector<LinkView>()> links;
    std::function<RecorderStatus()> recorder;
};

/// What an operator may do. Called on the serve thread; must return at once. The receipt is given once it is in the
/// recording, or it is known that it is not.
struct OperatorActions {
    std::function<void(Action action, OwedReceipt receipt)> action; ///< for Pipeline::action
    /// Close the live recording, begin a new one; Server::begin_recording() follows.
    std::function<void(std::string name, OwedReceipt receipt)> new_recording;
    /// Key "name" or "notes".
    std::function<void(std::string key, std::string value, OwedReceipt receipt)> set_live_meta;
};

} // namespace turnstone
