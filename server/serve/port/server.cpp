#include "server/serve/port/server.hpp"

#include <algorithm>
#include <iterator>
#include <optional>
#include <thread>

#include <sys/resource.h>
#include <unistd.h>

#include <boost/asio/co_spawn.hpp>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <fmt/format.h>
#include <spdlog/spdlog.h>

#include "server/debrief/flights/log_book.hpp"
#include "server/serve/jobs.hpp"
#include "server/serve/live_recording.hpp"
#include "server/serve/port/http_connections.hpp"
#include "server/serve/port/no_throw.hpp"
#include "server/serve/port/tls_door.hpp"
#include "server/serve/port/tls_identity.hpp"
#include "server/serve/stream/hub.hpp"

namespace turnstone {
namespace {

namespace asio = boost::asio;
using tcp = asio::ip::tcp;

constexpr std::size_t kOperatorKeyMin = 16;
constexpr std::size_t kOtherDescriptors = 256; // recordings that are open, and connections that are being refused

std::size_t connections_most(const Budgets& budgets) {
    std::size_t count = 0;
    for (const Budget budget : {Budget::viewers, Budget::connections})
        count += budgets.limit(budget).in_all + budgets.limit(budget).for_operators;
    return count;
}

/// A viewer is a file descriptor, and three by https; the usual soft limit is 1024 of them.
void allow_descriptors(const Budgets& budgets, bool with_tls) {
    const std::size_t count = kOtherDescriptors + (with_tls ? 3 : 1) * connections_most(budgets);
    rlimit limit{};
    if (getrlimit(RLIMIT_NOFILE, &limit) != 0 || limit.rlim_cur >= count) return;
    limit.rlim_cur = std::min<rlim_t>(limit.rlim_max, count);
    if (setrlimit(RLIMIT_NOFILE, &limit) != 0 || limit.rlim_cur < count)
        spdlog::warn("the system allows {} open files, {} viewers need {}; raise 'ulimit -n' to serve that many",
                     static_cast<std::size_t>(limit.rlim_cur), budgets.limit(Budget::viewers).in_all, count);
}

/// Copies of recordings that a killed process left half made.
void remove_half_made_copies(const std::filesystem::path& folder) {
    std::error_code error; // a folder that is not there yet has none
    for (std::filesystem::directory_iterator at(folder, error), end; !error && at != end; at.increment(error)) {
        if (at->path().filename().string().starts_with(".copy-")) {
            std::error_code ignored; // a leftover does no harm
            std::filesystem::remove(at->path(), ignored);
        }
    }
}

void log_failure(const std::exception_ptr& failure) {
    if (!failure) return;
    try {
        std::rethrow_exception(failure);
    } catch (const std::exception& error) {
        spdlog::error("a connection failed unexpectedly: {}", error.what());
    }
}

} // namespace

struct Server::State {
    ServeSettings settings;
    ServeSources sources;
    OperatorActions actions;
    Budgets budgets; // outlives whatever holds a lease: connections in the context, jobs of the workers
    Downloads downloads{settings.recordings};
    debrief::LogBook book{settings.recordings};
    asio::io_context context{1};
    tcp::acceptor acceptor{context};
    Jobs jobs; // outlives the workers that do them
    Workers workers;
    ServeCounters counters;
    LiveRecording live;
    Hub hub;
    std::optional<OperatorAccess> access; // this and the next: made when the port is known
    std::shared_ptr<HttpConnections> connections;
    std::uint16_t port = 0;
    bool loopback_only = true;
    std::thread thread;
    std::string fingerprint; ///< of the certificate of the https port
    TlsDoor door;            ///< last: it hands connections to all of the above

    State(ServeSettings given, ServeSources asked, OperatorActions allowed)
        : settings(std::move(given)), sources(std::move(asked)), actions(std::move(allowed)),
          budgets(settings.viewers_max), jobs(settings.recordings, workers, budgets),
          workers(settings.workers, budgets),
          hub(context, settings, sources, workers, budgets, live, counters,
              {.holds = [this](const Client& client) { return access->holds(client, OperatorAccess::Clock::now()); },
               .revision = [this] { return access->revision(); }}),
          door(connections_most(budgets),
               [this](int descriptor, const std::string& from) { enter(descriptor, from); }) {}

    asio::awaitable<void> accept() {
        asio::steady_timer pause(context);
        while (!connections->stopping()) {
            auto [error, socket] = co_await acceptor.async_accept(kNoThrow);
            if (error) {
                if (connections->stopping()) co_return;
                // Out of descriptors: existing connections are unaffected, and it tries again once some may be free.
                spdlog::warn("cannot accept a connection: {}", error.message());
                pause.expires_after(std::chrono::milliseconds(100));
                co_await pause.async_wait(kNoThrow);
                continue;
            }
            boost::system::error_code gone;
            const auto remote = socket.remote_endpoint(gone);
            if (gone) continue;
            asio::co_spawn(context, connections->serve(std::move(socket), remote.address().to_string(), false),
                           log_failure);
        }
    }

    /// From the https port's thread.
    void enter(int descriptor, const std::string& address) {
        asio::post(
            context,
            [this, descriptor, address] {
                tcp::socket socket(context);
                boost::system::error_code error;
                socket.assign(tcp::v4(), descriptor, error); // a stream of bytes as any other
                if (error)
                    ::close(descriptor);
                else
                    asio::co_spawn(context, connections->serve(std::move(socket), address, true), log_failure);
            });
    }

    Result<void> open_tls(const asio::ip::address& address) {
        std::vector<std::string> names = settings.host_names;
        for (const char* own : {"localhost", "127.0.0.1", "::1"}) names.emplace_back(own);
        std::ranges::move(machine_addresses(), std::back_inserter(names));
        const auto identity = tls_identity(settings.tls->folder, names, std::chrono::system_clock::now());
        if (!identity) return tl::unexpected(identity.error());
        fingerprint = identity->fingerprint;
        return door.open(*identity, {address, settings.tls->port});
    }

    asio::awaitable<void> wind_down(std::chrono::steady_clock::time_point until) {
        connections->stop();
        boost::system::error_code ignored; // closing is all that can be done with it
        acceptor.close(ignored);
        hub.stop();
        asio::steady_timer pause(context);
        while ((hub.viewers() > 0 || connections->answers_open() > 0) && std::chrono::steady_clock::now() < until) {
            pause.expires_after(std::chrono::milliseconds(10));
            co_await pause.async_wait(kNoThrow);
        }
        context.stop();
    }
};

Server::Server(ServeSettings settings, ServeSources sources, OperatorActions actions)
    : state_(std::make_unique<State>(std::move(settings), std::move(sources), std::move(actions))) {}

Server::~Server() {
    stop(std::chrono::seconds(1));
}

Result<void> Server::start() {
    State& s = *state_;
    if (s.settings.operator_key.size() < kOperatorKeyMin)
        return fail(fmt::format("the operator key must have at least {} characters", kOperatorKeyMin));
    boost::system::error_code error;
    const auto address = asio::ip::make_address(s.settings.listen_address, error);
    if (error)
        return fail(fmt::format("'{}' is not a numeric address to listen on; use for example 127.0.0.1 or 0.0.0.0",
                                s.settings.listen_address));
    const tcp::endpoint endpoint(address, s.settings.port);
    const auto failed = [&](std::string_view what) {
        return fail(fmt::format(
            "cannot listen on {} port {}: {} ({}); choose another address or port, or stop the program that uses it",
            s.settings.listen_address, s.settings.port, error.message(), what));
    };
    s.acceptor.open(endpoint.protocol(), error);
    if (error) return failed("open");
    s.acceptor.set_option(tcp::acceptor::reuse_address(true), error);
    s.acceptor.bind(endpoint, error);
    if (error) return failed("bind");
    s.acceptor.listen(1024, error);
    if (error) return failed("listen");
    const tcp::endpoint bound = s.acceptor.local_endpoint(error);
    if (error) return failed("name");
    s.port = bound.port();
    s.loopback_only = bound.address().is_loopback();

    allow_descriptors(s.budgets, s.settings.tls.has_value());
    remove_half_made_copies(s.settings.recordings);
    s.access.emplace(s.settings.operator_key, s.port, s.settings.sessions);
    const AnswerSender sender(s.workers, s.counters);
    s.connections = std::make_shared<HttpConnections>(
        HostCheck(s.settings.listen_address, s.settings.host_names), *s.access, s.budgets,
        Api(s.settings.recordings, s.settings.assets, s.sources, s.actions, *s.access, s.live, s.workers, s.budgets,
            s.downloads, s.jobs, s.book, s.counters, JoinRoutes([this] { return addresses(); }),
            MapRoutes(s.settings.map, s.workers)),
        sender, ViewerEntrance(s.hub, s.budgets, sender, s.counters, s.settings.send_buffer_bytes));
    asio::co_spawn(s.context, s.accept(), log_failure);
    if (s.settings.tls) {
        if (auto opened = s.open_tls(bound.address()); !opened) return opened;
    }
    asio::post(
        s.context, [&s] { s.hub.start(); });
    s.thread = std::thread([&s] {
        const auto guard = asio::make_work_guard(s.context);
        while (!s.context.stopped()) {
            try {
                s.context.run();
            } catch (const std::exception& failure) {
                spdlog::error("the serve thread continues after an unexpected failure: {}", failure.what());
            }
        }
    });
    return {};
}

std::uint16_t Server::port() const noexcept {
    return state_->port;
}

bool Server::is_loopback_only() const {
    return state_->loopback_only;
}

const std::string& Server::certificate_fingerprint() const noexcept {
    return state_->fingerprint;
}

std::vector<std::string> Server::addresses() const {
    std::vector<std::string> out;
    const auto add = [&](const std::string& host) {
        const bool v6 = host.find(':') != std::string::npos;
        const std::string name = v6 ? "[" + host + "]" : host;
        out.push_back(fmt::format("http://{}:{}/", name, state_->port));
        if (state_->door.port() != 0) out.push_back(fmt::format("https://{}:{}/", name, state_->door.port()));
    };
    const std::string& listen = state_->settings.listen_address;
    if (listen != "0.0.0.0" && listen != "::") {
        add(listen);
        return out;
    }
    add("127.0.0.1");
    for (const std::string& address : machine_addresses()) {
        const bool v6 = address.find(':') != std::string::npos;
        // Link-local addresses need an interface's name, which browsers do not accept.
        if (address.starts_with("127.") || address == "::1" || address.starts_with("fe80:") ||
            (v6 && listen == "0.0.0.0"))
            continue;
        add(address);
    }
    return out;
}

void Server::release_recordings() {
    state_->workers.release_readers();
}
void Server::begin_recording(LiveTape tape) {
    state_->workers.release_readers();
    state_->hub.begin(std::move(tape));
}

void Server::publish(std::shared_ptr<const Batch> batch) {
    state_->hub.publish(std::move(batch));
}

void Server::stop(std::chrono::milliseconds deadline) {
    State& s = *state_;
    if (!s.thread.joinable()) return;
    const auto no_more = std::chrono::steady_clock::now() + deadline;
    asio::co_spawn(s.context, s.wind_down(no_more), log_failure);
    s.thread.join();
    s.door.stop();
    s.downloads.stop();
    s.jobs.stop_all();
    s.book.stop();
    s.workers.stop();
}

} // namespace turnstone
