#include "server/serve/http/access.hpp"

#include <algorithm>
#include <array>
#include <memory>

#include <arpa/inet.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>
#include <unistd.h>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "server/serve/parse/header_fields.hpp"
#include "server/serve/random_key.hpp"

namespace turnstone {
namespace {

constexpr std::chrono::seconds kLookUpEvery{5};
constexpr std::size_t kSessionsMax = 64;  // operators' browsers; the oldest has to unlock again
constexpr std::size_t kBucketsMax = 1024; // addresses that tried a key recently
constexpr double kWrongAtOnce = 5;
constexpr double kWrongPerSecond = 0.5;
constexpr std::chrono::hours kSessionTime{7 * 24};
constexpr std::chrono::minutes kHandOverTime{10};
constexpr std::size_t kBrowserNameSize = 32;    // random_key()
constexpr std::chrono::hours kPositionTime{12}; // a day on the range
constexpr std::size_t kPositionKeysMax = 64;    // links not opened yet, and devices; the oldest go first

std::string cookie_text(std::string_view name, std::string_view token, std::chrono::seconds lifetime) {
    return fmt::format("{}={}; Path=/; Max-Age={}; HttpOnly; SameSite=Strict", name, token, lifetime.count());
}

/// The steady clock counts from the computer's start, so what is kept has its end in UTC.
std::int64_t to_utc_s(OperatorAccess::Clock::time_point at) {
    const auto left = at - OperatorAccess::Clock::now();
    const auto utc = std::chrono::system_clock::now() + left;
    return std::chrono::duration_cast<std::chrono::seconds>(utc.time_since_epoch()).count();
}

/// `at_most`: a clock that was set back must not make anything last longer.
OperatorAccess::Clock::time_point from_utc_s(std::int64_t utc_s, std::chrono::seconds at_most) {
    const auto now = std::chrono::system_clock::now().time_since_epoch();
    const std::int64_t now_s = std::chrono::duration_cast<std::chrono::seconds>(now).count();
    const std::int64_t left_s = std::max<std::int64_t>(utc_s, 0) - now_s;
    return OperatorAccess::Clock::now() + std::chrono::seconds(std::clamp<std::int64_t>(left_s, 0, at_most.count()));
}

bool is_loopback(std::string_view address) {
    return address.starts_with("127.") || address == "::1";
}

} // namespace

std::vector<std::string> machine_addresses() {
    std::vector<std::string> out;
    ifaddrs* head = nullptr;
    if (getifaddrs(&head) != 0) return out;
    const std::unique_ptr<ifaddrs, decltype(&freeifaddrs)> owner(head, &freeifaddrs);
    for (const ifaddrs* at = head; at != nullptr; at = at->ifa_next) {
        if (at->ifa_addr == nullptr || (at->ifa_flags & IFF_UP) == 0) continue;
        std::array<char, INET6_ADDRSTRLEN> text{};
        const void* address = nullptr;
        if (at->ifa_addr->sa_family == AF_INET)
            address = &reinterpret_cast<const sockaddr_in*>(at->ifa_addr)->sin_addr;
        else if (at->ifa_addr->sa_family == AF_INET6)
            address = &reinterpret_cast<const sockaddr_in6*>(at->ifa_addr)->sin6_addr;
        if (address != nullptr && inet_ntop(at->ifa_addr->sa_family, address, text.data(), text.size()) != nullptr)
            out.emplace_back(text.data());
    }
    return out;
}

HostCheck::HostCheck(std::string_view listen_address, const std::vector<std::string>& configured_names)
    : beyond_loopback_(!is_loopback(listen_address)), names_{"localhost", "127.0.0.1", "::1",
                                                             ascii_lower(listen_address)} {
    for (const std::string& name : configured_names) names_.push_back(ascii_lower(name));
    std::array<char, 256> machine{};
    if (beyond_loopback_ && gethostname(machine.data(), machine.size() - 1) == 0 && machine[0] != '\0') {
        names_.push_back(ascii_lower(machine.data()));
        names_.push_back(ascii_lower(machine.data()) + ".local");
    }
}

void HostCheck::look_up_addresses() {
    const auto now = std::chrono::steady_clock::now();
    if (!addresses_.empty() && now - looked_up_ < kLookUpEvery) return;
    looked_up_ = now;
    addresses_ = machine_addresses();
}

bool HostCheck::host_allowed(std::string_view host_field) {
    const std::string host = host_of(host_field);
    if (host.empty()) return false;
    if (std::find(names_.begin(), names_.end(), host) != names_.end()) return true;
    if (!beyond_loopback_) return false;
    look_up_addresses();
    return std::find(addresses_.begin(), addresses_.end(), host) != addresses_.end();
}

bool equal_in_constant_time(std::string_view a, std::string_view b) noexcept {
    if (a.size() != b.size()) return false;
    volatile unsigned char difference = 0; // volatile: the loop must run to its end
    for (std::size_t i = 0; i < a.size(); ++i)
        difference = static_cast<unsigned char>(difference |
                                                (static_cast<unsigned char>(a[i]) ^ static_cast<unsigned char>(b[i])));
    return difference == 0;
}

bool WrongKeys::one_more(const std::string& address, Clock::time_point now) {
    if (buckets_.size() >= kBucketsMax && !buckets_.contains(address))
        std::erase_if(buckets_, [&](const auto& entry) { return now - entry.second.at > std::chrono::seconds(10); });
    if (buckets_.size() >= kBucketsMax && !buckets_.contains(address)) return false;
    Bucket& bucket = buckets_.try_emplace(address, Bucket{kWrongAtOnce, now}).first->second;
    const double waited_s = std::chrono::duration<double>(now - bucket.at).count();
    bucket.tokens = std::min(kWrongAtOnce, bucket.tokens + waited_s * kWrongPerSecond);
    bucket.at = now;
    if (bucket.tokens < 1) return false;
    bucket.tokens -= 1;
    return true;
}

PositionAccess::PositionAccess(std::uint16_t port, WrongKeys& wrong)
    : cookie_name_(fmt::format("turnstone_{}_position", port)), wrong_(&wrong) {}

std::string PositionAccess::give(const std::string& position, Clock::time_point now) {
    std::erase_if(keys_, [&](const Right& right) { return right.ends <= now; });
    keys_.push_back({position, random_key(), now + kPositionTime});
    if (keys_.size() > kPositionKeysMax) keys_.pop_front();
    return keys_.back().secret;
}

void PositionAccess::forget(std::string_view position) {
    for (std::deque<Right>* rights : {&keys_, &devices_})
        std::erase_if(
            *rights, [&](const Right& right) { return right.position == position; });
}

KeyAttempt PositionAccess::attempt(const std::string& address, std::string_view position, std::string_view key,
                                   Clock::time_point now) {
    auto found = keys_.end();
    for (auto right = keys_.begin(); right != keys_.end(); ++right)
        if (equal_in_constant_time(right->secret, key) && right->position == position && now < right->ends)
            found = right;
    if (found == keys_.end()) return {wrong_->one_more(address, now) ? KeyVerdict::wrong : KeyVerdict::too_many, {}};
    devices_.push_back({found->position, random_key(), found->ends});
    keys_.erase(found);
    if (devices_.size() > kPositionKeysMax) devices_.pop_front();
    const auto lifetime = std::chrono::duration_cast<std::chrono::seconds>(devices_.back().ends - now);
    return {KeyVerdict::granted, cookie_text(cookie_name_, devices_.back().secret, lifetime)};
}

std::string PositionAccess::position_of(std::string_view cookie_field, Clock::time_point now) const {
    std::string position;
    for (const std::string_view token : cookie_values(cookie_field, cookie_name_))
        for (const Right& right : devices_)
            if (equal_in_constant_time(right.secret, token) && now < right.ends) position = right.position;
    return position;
}

std::string PositionAccess::end_session(std::string_view cookie_field) {
    for (const std::string_view token : cookie_values(cookie_field, cookie_name_))
        std::erase_if(devices_, [&](const Right& right) { return equal_in_constant_time(right.secret, token); });
    return cookie_text(cookie_name_, "", std::chrono::seconds(0));
}

OperatorAccess::OperatorAccess(std::string key, std::uint16_t port, const ServeSettings::Sessions& sessions)
    : key_(std::move(key)), cookie_name_(fmt::format("turnstone_{}", port)),
      browser_cookie_name_(fmt::format("turnstone_{}_browser", port)), keep_(sessions.keep), positions_(port, wrong_) {
    take_back(sessions.kept);
    keep();
}

/// What is not as keep() writes it is left out: who has that session unlocks again.
void OperatorAccess::take_back(const std::string& kept) {
    const auto list = nlohmann::json::parse(kept, nullptr, false);
    if (!list.is_array()) return;
    for (const auto& each : list) {
        if (!each.is_object() || sessions_.size() == kSessionsMax) continue;
        const auto text = [&](const char* name) {
            const auto found = each.find(name);
            return found != each.end() && found->is_string() ? found->get<std::string>() : std::string();
        };
        const auto ends = [&](const char* name, std::chrono::seconds at_most) {
            const auto found = each.find(name);
            const bool good = found != each.end() && found->is_number_integer();
            return from_utc_s(good ? found->get<std::int64_t>() : 0, at_most);
        };
        Session session{.token = text("token"),
                        .browser = text("browser"),
                        .address = text("address"),
                        .ends = ends("ends_utc_s", kSessionTime),
                        .heir_key = text("heir_key"),
                        .heir_key_ends = ends("heir_key_ends_utc_s", kHandOverTime)};
        if (session.token.size() == hashed_key("").size() && session.ends > Clock::now())
            sessions_.push_back(std::move(session));
    }
}

void OperatorAccess::keep() const {
    if (!keep_) return;
    auto list = nlohmann::json::array();
    for (const Session& session : sessions_)
        list.push_back({{"token", session.token},
                        {"browser", session.browser},
                        {"address", session.address},
                        {"ends_utc_s", to_utc_s(session.ends)},
                        {"heir_key", session.heir_key},
                        {"heir_key_ends_utc_s", to_utc_s(session.heir_key_ends)}});
    keep_(list.empty() ? "" : list.dump());
}

KeyAttempt OperatorAccess::attempt(const std::string& address, std::string_view key, Clock::time_point now,
                                   std::string_view cookie_field) {
    std::erase_if(sessions_, [&](const Session& session) { return session.ends <= now; });
    const auto giver = handed_over_by(key, now);
    const bool handed_over = giver != sessions_.end();
    if (handed_over)
        sessions_.erase(giver);
    else if (!equal_in_constant_time(key, key_))
        return {wrong_.one_more(address, now) ? KeyVerdict::wrong : KeyVerdict::too_many, {}};
    const std::string token = random_key(), browser = browser_of(cookie_field);
    sessions_.push_back({.token = hashed_key(token),
                         .browser = browser.empty() ? browser : hashed_key(browser),
                         .address = address,
                         .ends = now + kSessionTime,
                         .heir_key = {},
                         .heir_key_ends = {}});
    if (sessions_.size() > kSessionsMax) sessions_.pop_front();
    ++revision_;
    keep();
    return {KeyVerdict::granted, cookie_text(cookie_name_, token, kSessionTime), handed_over};
}

std::deque<OperatorAccess::Session>::iterator OperatorAccess::handed_over_by(std::string_view key,
                                                                             Clock::time_point now) {
    auto found = sessions_.end();
    const std::string hashed = hashed_key(key);
    for (auto session = sessions_.begin(); session != sessions_.end(); ++session)
        if (equal_in_constant_time(session->heir_key, hashed) && now < session->heir_key_ends) found = session;
    return found;
}

std::string OperatorAccess::hand_over(std::string_view cookie_field, Clock::time_point now) {
    const std::string token = session_of(cookie_field, now);
    const auto session = std::ranges::find(sessions_, token, &Session::token);
    if (token.empty() || session == sessions_.end()) return {};
    std::string heir_key = random_key();
    session->heir_key = hashed_key(heir_key);
    session->heir_key_ends = now + kHandOverTime;
    keep();
    return heir_key;
}

std::string OperatorAccess::session_of(std::string_view cookie_field, Clock::time_point now) const {
    std::string found;
    for (const std::string_view token : cookie_values(cookie_field, cookie_name_)) {
        const std::string hashed = hashed_key(token);
        for (const Session& session : sessions_)
            if (equal_in_constant_time(session.token, hashed) && now < session.ends) found = session.token;
    }
    return found;
}

std::size_t OperatorAccess::operators(Clock::time_point now) const {
    return static_cast<std::size_t>(std::ranges::count_if(
        sessions_, [&](const Session& session) { return now < session.ends; }));
}

std::string OperatorAccess::browser_of(std::string_view cookie_field) const {
    const auto names = cookie_values(cookie_field, browser_cookie_name_);
    return names.empty() || names.front().size() != kBrowserNameSize ? std::string() : std::string(names.front());
}

OperatorAccess::Browser OperatorAccess::name_browser() const {
    std::string name = random_key();
    return {name, fmt::format("{}={}; Path=/; HttpOnly; SameSite=Strict", browser_cookie_name_, name)};
}

bool OperatorAccess::holds(const Client& connection, Clock::time_point now) const {
    bool found = false;
    const std::string browser = hashed_key(connection.browser);
    for (const Session& session : sessions_) {
        const bool is_its = !connection.session.empty() && equal_in_constant_time(session.token, connection.session);
        const bool is_its_browsers = !connection.browser.empty() && session.address == connection.address &&
                                     equal_in_constant_time(session.browser, browser);
        found = found || ((is_its || is_its_browsers) && now < session.ends);
    }
    return found;
}

std::string OperatorAccess::end_session(std::string_view cookie_field) {
    for (const std::string_view token : cookie_values(cookie_field, cookie_name_))
        std::erase_if(sessions_, [hashed = hashed_key(token)](const Session& session) {
            return equal_in_constant_time(session.token, hashed);
        });
    ++revision_;
    keep();
    return cookie_text(cookie_name_, "", std::chrono::seconds(0));
}

} // namespace turnstone
