#pragma once
/// Who may do what. Everyone who reaches the port may watch; operator actions need a cookie, given for the operator
/// key. Host and Origin are checked so that a foreign page cannot use the browser of someone on this network (DNS
/// rebinding, cross-site requests).
#include <chrono>
#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/serve/budgets.hpp"
#include "server/serve/settings.hpp"

namespace turnstone {

/// Numeric addresses of this machine's interfaces that are up.
[[nodiscard]] std::vector<std::string> machine_addresses();

class HostCheck {
  public:
    /// Loopback names and the listen address are always allowed; when listening beyond loopback also the machine's
    /// addresses and its name, alone and with ".local" (RFC 6762).
    HostCheck(std::string_view listen_address, const std::vector<std::string>& configured_names);
    /// `host_field`: value of the Host header, with or without port. Addresses that came up later are found too.
    [[nodiscard]] bool host_allowed(std::string_view host_field);

  private:
    void look_up_addresses();

    bool beyond_loopback_;
    std::vector<std::string> names_;     // fixed at construction
    std::vector<std::string> addresses_; // of the machine, looked up again at most every few seconds
    std::chrono::steady_clock::time_point looked_up_{};
};

/// Wrong keys of an address: five, then one every two seconds.
class WrongKeys {
  public:
    using Clock = std::chrono::steady_clock;
    /// False: too many already.
    [[nodiscard]] bool one_more(const std::string& address, Clock::time_point now);

  private:
    struct Bucket {
        double tokens;
        Clock::time_point at;
    };
    std::map<std::string, Bucket> buckets_;
};

enum class KeyVerdict : unsigned char { granted, wrong, too_many };
struct KeyAttempt {
    KeyVerdict verdict;
    std::string set_cookie;   ///< value for Set-Cookie when granted
    bool handed_over = false; ///< by the operator whose session it ended
};

/// Devices that may answer for a position of the poll, and do nothing else. An operator gives a link with a key; the
/// first device that shows the key gets a cookie for it. Neither lasts longer than a day on the range.
class PositionAccess {
  public:
    using Clock = std::chrono::steady_clock;
    PositionAccess(std::uint16_t port, WrongKeys& wrong);

    /// A new key for the position.
    [[nodiscard]] std::string give(const std::string& position, Clock::time_point now);
    /// Keys and cookies of the position end.
    void forget(std::string_view position);
    [[nodiscard]] KeyAttempt attempt(const std::string& address, std::string_view position, std::string_view key,
                                     Clock::time_point now);
    /// Empty: the cookies are of none.
    [[nodiscard]] std::string position_of(std::string_view cookie_field, Clock::time_point now) const;
    /// As OperatorAccess::end_session.
    [[nodiscard]] std::string end_session(std::string_view cookie_field);

  private:
    struct Right {
        std::string position, secret;
        Clock::time_point ends;
    };
    std::string cookie_name_;
    WrongKeys* wrong_;
    std::deque<Right> keys_;    // not shown yet; newest last
    std::deque<Right> devices_; // with a cookie; newest last
};

/// The operator key and the sessions it opens.
///
/// The right key is taken whatever was tried before, from whichever address: someone who guesses from the operator's
/// own address (a relay, the same laptop) must not lock the operator out. That gives nothing to a guesser. A key of 128
/// random bits withstands a thousand guesses a second for 10^28 years, sixteen letters chosen blindly for 10^12; and
/// wrong keys beyond a few an address are answered late, with their connection held, so that there are fewer still.
///
/// A connection of the stream shows its cookies once, when it begins. So that a key given later counts for it, and a
/// log-out too, each browser has a name of its own, in a cookie as well: a session opened in a browser holds for every
/// connection of that browser from that address. Requests over HTTP need the session's cookie itself.
///
/// Sessions outlive the process, so that a server started again in flight has its operators. What is kept of one opens
/// none: its secrets are hashed.
class OperatorAccess {
  public:
    using Clock = std::chrono::steady_clock;
    /// Browsers send cookies to every port of a host, so the port is in the cookie's name.
    OperatorAccess(std::string key, std::uint16_t port, const ServeSettings::Sessions& sessions = {});
    OperatorAccess(const OperatorAccess&) = delete; // its parts refer to one another
    OperatorAccess& operator=(const OperatorAccess&) = delete;

    /// The time of the comparison does not depend on the key. `cookie_field`, here and below: value of the Cookie
    /// header.
    [[nodiscard]] KeyAttempt attempt(const std::string& address, std::string_view key, Clock::time_point now,
                                     std::string_view cookie_field = {});
    [[nodiscard]] bool is_operator(std::string_view cookie_field, Clock::time_point now) const {
        return !session_of(cookie_field, now).empty();
    }
    /// For Client::session: empty when the cookies are of none that is open.
    [[nodiscard]] std::string session_of(std::string_view cookie_field, Clock::time_point now) const;
    /// For Client::browser: empty when it has no name yet.
    [[nodiscard]] std::string browser_of(std::string_view cookie_field) const;
    struct Browser {
        std::string name;
        std::string set_cookie; ///< value for Set-Cookie
    };
    [[nodiscard]] Browser name_browser() const;
    /// Whether a connection of the stream has an operator's rights now.
    [[nodiscard]] bool holds(const Client& connection, Clock::time_point now) const;
    /// Sessions that are open.
    [[nodiscard]] std::size_t operators(Clock::time_point now) const;
    /// Another number after each session that was opened or ended.
    [[nodiscard]] std::uint64_t revision() const noexcept { return revision_; }
    /// A key that opens one session within ten minutes, and ends the one that the cookies name, which has no other such
    /// key from then on. Empty: they name none.
    [[nodiscard]] std::string hand_over(std::string_view cookie_field, Clock::time_point now);
    /// Ends the sessions that the cookies name. Value for Set-Cookie that has the browser forget them.
    [[nodiscard]] std::string end_session(std::string_view cookie_field);
    [[nodiscard]] PositionAccess& positions() noexcept { return positions_; }
    [[nodiscard]] const PositionAccess& positions() const noexcept { return positions_; }

  private:
    struct Session {
        std::string token;   ///< hashed, as the next one and the last
        std::string browser; ///< it was opened in
        std::string address; ///< and from
        Clock::time_point ends;
        std::string heir_key; ///< of whom it is handed over to; empty: nobody
        Clock::time_point heir_key_ends;
    };
    [[nodiscard]] std::deque<Session>::iterator handed_over_by(std::string_view key, Clock::time_point now);
    void take_back(const std::string& kept);
    void keep() const;

    std::string key_;
    std::string cookie_name_, browser_cookie_name_;
    std::deque<Session> sessions_; // newest last
    std::function<void(std::string)> keep_;
    std::uint64_t revision_ = 0;
    WrongKeys wrong_; ///< of operators and positions together
    PositionAccess positions_;
};

/// Same time for every content of the same length.
[[nodiscard]] bool equal_in_constant_time(std::string_view a, std::string_view b) noexcept;

} // namespace turnstone
