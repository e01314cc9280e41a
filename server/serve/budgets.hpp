#pragma once
/// What visitors may use at once, each address and all together, so that none of them can take the server away from the
/// others. Every limit stands in one table (budgets.cpp); whoever uses something holds a lease of it, and who is
/// refused gets the sentence that says why.
///
/// 127.0.0.1 and ::1 have no limit of their own: a reverse proxy there brings everybody, and the operator's own browser
/// is there; whoever else can run programs on this machine needs no network to harm it. The limits in all hold for them
/// too. Some places beyond those are kept for operators. An address is counted whole: in a local network all stations
/// of IPv6 share their first half.
#include <array>
#include <cstddef>
#include <cstdint>
#include <map>
#include <mutex>
#include <string>
#include <string_view>
#include <utility>

#include "shared/result.hpp"
#include "shared/words.hpp"

namespace turnstone {

/// On whose behalf something is used.
struct Client {
    std::string address;       ///< numeric
    std::string turn;          ///< who takes turns with others where jobs wait
    bool is_operator = false;  ///< has shown a session's cookie
    std::string position = {}; ///< of the poll that it may answer for; empty: none
    // Of a connection of the stream, whose rights may change while it lasts; see OperatorAccess::holds.
    std::string session = {}; ///< whose cookie it began with; empty: none
    std::string browser = {}; ///< it belongs to
};

enum class Budget : unsigned char {
    connections,  ///< over HTTP, viewers not counted
    viewers,      ///< connections of the stream
    answer_bytes, ///< bodies of answers on their way, but for the dashboard's own files
    replays,
    reads, ///< of recordings, waiting or under way
    downloads,
    disk_copies, ///< of a recording under way, on the disk until they are sent
    jobs         ///< work for minutes, waiting or under way
};
consteval auto words_of(Budget) {
    return words<Budget::jobs>("connections", "viewers", "answer_bytes", "replays", "reads", "downloads", "disk_copies",
                               "jobs");
}
inline constexpr std::size_t kBudgets = kWords<Budget>.size();

struct Limit {
    std::size_t per_address;
    std::size_t in_all;
    std::size_t for_operators; ///< places beyond `in_all`
};

class Budgets;

/// Something in use until this is destroyed.
class Lease {
  public:
    Lease() = default; ///< of nothing
    Lease(Lease&& other) noexcept { *this = std::move(other); }
    Lease& operator=(Lease&& other) noexcept;
    ~Lease() { end(); }
    void end() noexcept;

  private:
    friend class Budgets;
    Budgets* budgets_ = nullptr;
    Budget budget_{};
    std::size_t amount_ = 0;
    std::string address_;
};

/// Outlives its leases. May be used from any thread.
class Budgets {
  public:
    explicit Budgets(std::size_t viewers_max);

    /// Something larger than its limit is still lent when nothing else is in use.
    [[nodiscard]] Result<Lease> take(Budget budget, const Client& client, std::size_t amount = 1);
    [[nodiscard]] Limit limit(Budget budget) const noexcept { return limits_[index(budget)]; }
    [[nodiscard]] std::size_t used(Budget budget) const;
    [[nodiscard]] std::uint64_t refusals(Budget budget) const;

  private:
    friend class Lease;
    struct Use {
        std::size_t in_all = 0;
        std::map<std::string, std::size_t, std::less<>> by_address;
        std::uint64_t refusals = 0;
    };
    [[nodiscard]] static constexpr std::size_t index(Budget budget) noexcept {
        return static_cast<std::size_t>(budget);
    }
    void give_back(Budget budget, const std::string& address, std::size_t amount) noexcept;

    const std::array<Limit, kBudgets> limits_;
    mutable std::mutex mutex_; // guards uses_
    std::array<Use, kBudgets> uses_;
};

/// 127.0.0.1 and ::1, and not the rest of 127.0.0.0/8.
[[nodiscard]] bool is_exempt(std::string_view address) noexcept;

} // namespace turnstone
