#include "server/serve/port/http_connections.hpp"

#include <algorithm>
#include <chrono>
#include <optional>
#include <string_view>

#include <boost/asio/steady_timer.hpp>
#include <boost/asio/this_coro.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/http/parser.hpp>
#include <boost/beast/http/read.hpp>
#include <boost/beast/websocket/rfc6455.hpp>
#include <fmt/format.h>

#include "server/serve/parse/header_fields.hpp"
#include "server/serve/port/no_throw.hpp"

namespace turnstone {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using asio::awaitable;
using tcp = asio::ip::tcp;

constexpr std::chrono::seconds kRequestTime{10};
constexpr std::chrono::seconds kRequestTimeReserved{2}; // an operator's browser sends its request at once
constexpr std::size_t kRefusingMax = 64;                // each waits a moment for its client to read why

using Parser = http::request_parser<http::string_body>;

struct ScopedCount {
    explicit ScopedCount(std::size_t& count) : count_(count) { ++count_; }
    ~ScopedCount() { --count_; }
    ScopedCount(const ScopedCount&) = delete;
    ScopedCount& operator=(const ScopedCount&) = delete;
    std::size_t& count_;
};

/// An entry of a list while this lives.
template <class T>
class ScopedEntry {
  public:
    ScopedEntry(std::list<T>& list, T entry) : list_(list), at_(list.insert(list.end(), std::move(entry))) {}
    ~ScopedEntry() { list_.erase(at_); }
    ScopedEntry(const ScopedEntry&) = delete;
    ScopedEntry& operator=(const ScopedEntry&) = delete;
    [[nodiscard]] const T& entry() const noexcept { return *at_; }

  private:
    std::list<T>& list_;
    typename std::list<T>::iterator at_;
};

/// Asks for a session, as an operator does who has none yet.
bool brings_key(const Request& request, const BeastRequest& message) {
    return request.method == Method::post && message.target() == "/api/session";
}

constexpr std::string_view kDisplaced = "this connection waited for a request while others needed its place; try again";

} // namespace

bool HttpConnections::is_ours(const Request& request) {
    return hosts_.host_allowed(request.host) &&
           (request.origin.empty() || is_same_origin(request.origin, request.host));
}

bool HttpConnections::displace(const std::string& address) {
    const auto longest = std::ranges::find_if(waiting_, [&](const Waiting& waiting) {
        return !waiting.displaced && (address.empty() || waiting.address == address);
    });
    if (longest == waiting_.end()) return false;
    longest->displaced = true;
    longest->place.end();
    longest->stream.cancel();
    return true;
}

HttpConnections::Standing HttpConnections::find_place(const Client& client, Lease& place, std::string& why_not) {
    // Its own connections give way before those of others.
    const std::string own = is_exempt(client.address) ? std::string() : client.address;
    for (const bool operator_place : {false, true}) {
        Client asking = client;
        asking.is_operator = operator_place;
        auto taken = budgets_.take(Budget::connections, asking);
        const bool all_taken = budgets_.used(Budget::connections) >= budgets_.limit(Budget::connections).in_all;
        if (!taken && !operator_place && (displace(own) || (all_taken && displace({}))))
            taken = budgets_.take(Budget::connections, asking);
        if (taken) {
            place = std::move(*taken);
            return operator_place ? Standing::only_for_operators : Standing::guest;
        }
        why_not = taken.error().message;
    }
    return Standing::refused;
}

awaitable<void> HttpConnections::refuse(beast::tcp_stream& stream, std::string_view why) {
    const Request unknown;
    Answer answer = busy_answer(why);
    if (refusing_ >= kRefusingMax) {
        // Told as well as can be without waiting: it may be lost when the client sends more.
        const std::string told = answer_header(answer, {}, false) + answer.body;
        beast::error_code ignored;
        stream.socket().non_blocking(true, ignored);
        stream.socket().send(asio::buffer(told), 0, ignored);
        co_return;
    }
    const ScopedCount refusing(refusing_);
    co_await sender_.send(stream, answer, unknown, false);
    co_await hang_up(stream);
}

awaitable<Answer> HttpConnections::answer(const BeastRequest& message, Request& request, Standing standing) {
    if (auto refused = refuse_source(message, request, hosts_)) {
        request.host.clear(); // not known to be ours: it has no place in our header
        co_return std::move(*refused);
    }
    const bool is_expected = request.client.is_operator || !request.client.position.empty(); // people wait for them
    if (standing == Standing::only_for_operators && !is_expected && !brings_key(request, message))
        co_return busy_answer("too many connections; try again in a moment");
    auto target = parse_target(message.target());
    if (!target) co_return error_answer(400, target.error().message);
    request.target = std::move(*target);
    Answer made = co_await api_.answer(request);
    if (made.held.count() > 0) {
        const auto executor = co_await asio::this_coro::executor;
        asio::steady_timer pause(executor, made.held);
        co_await pause.async_wait(kNoThrow);
    }
    co_return made;
}

awaitable<void> HttpConnections::serve(tcp::socket socket, std::string address, bool encrypted) {
    const auto self = shared_from_this(); // the frame may be destroyed after everything else, with the io_context
    Client client{.address = std::move(address), .turn = {}, .is_operator = false, .position = {}};
    // Where one address stands for many, each connection takes turns for itself.
    client.turn = is_exempt(client.address) ? fmt::format("{}#{}", client.address, met_++) : client.address;
    beast::tcp_stream stream(std::move(socket));
    Lease place;
    std::string why_not;
    const Standing standing = find_place(client, place, why_not);
    if (standing == Standing::refused) {
        co_await refuse(stream, why_not);
        co_return;
    }
    beast::flat_buffer buffer(kHeaderBytesMax + kBodyBytesMax);
    while (!stopping_) {
        Parser parser;
        parser.header_limit(kHeaderBytesMax);
        parser.body_limit(kBodyBytesMax);
        stream.expires_after(standing == Standing::guest ? kRequestTime : kRequestTimeReserved);
        beast::error_code error;
        bool displaced = false;
        {
            const ScopedEntry<Waiting> waiting(waiting_, {stream, place, client.address});
            const auto [result, size] = co_await http::async_read(stream, buffer, parser, kNoThrow);
            error = result;
            displaced = waiting.entry().displaced;
        }
        const ScopedCount answering(answers_open_);
        if (displaced && error) {
            if (parser.got_some()) co_await refuse(stream, kDisplaced);
            co_return;
        }
        if (error) {
            if (auto told = answer_to_unreadable(error)) {
                const Request unknown;
                co_await sender_.send(stream, *told, unknown, false);
                co_await hang_up(stream);
            }
            co_return;
        }
        const auto& message = parser.get();
        Request request = request_of(message);
        request.client = client;
        request.encrypted = encrypted;
        const auto now = OperatorAccess::Clock::now();
        request.client.is_operator = access_.is_operator(request.cookie, now);
        request.client.position = access_.positions().position_of(request.cookie, now);
        std::optional<Answer> framing = refuse_framing(message);
        if (!framing && beast::websocket::is_upgrade(message) && message.target() == "/api/stream" &&
            message.count(http::field::host) == 1) {
            const bool allowed = is_ours(request);
            std::string set_cookie;
            request.client.session = access_.session_of(request.cookie, now);
            request.client.browser = access_.browser_of(request.cookie);
            if (allowed && request.client.browser.empty()) {
                OperatorAccess::Browser browser = access_.name_browser();
                request.client.browser = std::move(browser.name);
                set_cookie = browser.set_cookie + (encrypted ? "; Secure" : "");
            }
            co_await entrance_.admit(stream, buffer, message, request.client, allowed, set_cookie);
            co_return;
        }
        const bool keep_alive = request.keep_alive && !framing && !stopping_ && !displaced;
        Answer made;
        if (framing)
            made = std::move(*framing);
        else
            made = co_await answer(message, request, standing);
        auto on_its_way = budgets_.take(Budget::answer_bytes, request.client, made.body.size());
        if (!on_its_way) made = busy_answer(on_its_way.error().message);
        if (!co_await sender_.send(stream, made, request, keep_alive)) {
            co_await hang_up(stream);
            co_return;
        }
    }
}

} // namespace turnstone
