#include "server/serve/budgets.hpp"

#include <fmt/format.h>

namespace turnstone {
namespace {

constexpr std::size_t operator""_MiB(unsigned long long value) {
    return static_cast<std::size_t>(value) << 20;
}

/// Every limit, in the order of Budget. A browser keeps up to six connections and asks for a few dozen series at once;
/// behind one address there may be a whole team.
std::array<Limit, kBudgets> limits(std::size_t viewers_max) {
    return {{
        // per address, in all, kept for operators besides
        {32, 496, 16},             // connections
        {64, viewers_max, 4},      // viewers
        {32_MiB, 128_MiB, 16_MiB}, // answer_bytes
        {16, 100, 4},              // replays
        {64, 256, 16},             // reads
        {1, 4, 1},                 // downloads
        {1, 1, 1},                 // disk_copies
        {2, 8, 2},                 // jobs: one under way and one waiting
    }};
}

/// What a refusal calls them, and what to do.
struct Saying {
    std::string_view what;
    std::string_view remedy;
};
constexpr std::array<Saying, kBudgets> kSayings{{
    {"connections", "close some pages or try again in a moment"},
    {"viewers", "close some pages or try again later"},
    {"bytes of answers on their way", "try again in a moment"},
    {"replays", "go back to live in another window or try again later"},
    {"reads of recordings", "try again in a moment"},
    {"downloads", "try again when one has ended"},
    {"copies of a recording under way", "try again when it has been sent, or when the recording has ended"},
    {"jobs", "try again when one has ended, or stop one"},
}};

} // namespace

Lease& Lease::operator=(Lease&& other) noexcept {
    if (this == &other) return *this;
    end();
    budgets_ = std::exchange(other.budgets_, nullptr);
    budget_ = other.budget_;
    amount_ = other.amount_;
    address_ = std::move(other.address_);
    return *this;
}

void Lease::end() noexcept {
    if (budgets_ != nullptr) std::exchange(budgets_, nullptr)->give_back(budget_, address_, amount_);
}

Budgets::Budgets(std::size_t viewers_max) : limits_(limits(viewers_max)) {}

Result<Lease> Budgets::take(Budget budget, const Client& client, std::size_t amount) {
    if (amount == 0) return Lease();
    const Limit& limit = limits_[index(budget)];
    const Saying& saying = kSayings[index(budget)];
    const std::lock_guard lock(mutex_);
    Use& use = uses_[index(budget)];
    const auto fits = [&](std::size_t used, std::size_t most) { return used == 0 || used + amount <= most; };
    const auto of_address = use.by_address.find(client.address);
    const std::size_t used_there = of_address == use.by_address.end() ? 0 : of_address->second;
    if (!is_exempt(client.address) && !fits(used_there, limit.per_address)) {
        ++use.refusals;
        return fail(
            fmt::format("too many {} for one address (at most {}); {}", saying.what, limit.per_address, saying.remedy));
    }
    if (!fits(use.in_all, limit.in_all + (client.is_operator ? limit.for_operators : 0))) {
        ++use.refusals;
        return fail(fmt::format("too many {} (at most {}); {}", saying.what, limit.in_all, saying.remedy));
    }
    Lease lease; // made first: what may throw comes before anything is counted
    lease.budget_ = budget;
    lease.amount_ = amount;
    lease.address_ = client.address;
    use.by_address[client.address] += amount;
    use.in_all += amount;
    lease.budgets_ = this;
    return lease;
}

void Budgets::give_back(Budget budget, const std::string& address, std::size_t amount) noexcept {
    const std::lock_guard lock(mutex_);
    Use& use = uses_[index(budget)];
    use.in_all -= amount;
    const auto found = use.by_address.find(address);
    found->second -= amount;
    if (found->second == 0) use.by_address.erase(found);
}

std::size_t Budgets::used(Budget budget) const {
    const std::lock_guard lock(mutex_);
    return uses_[index(budget)].in_all;
}

std::uint64_t Budgets::refusals(Budget budget) const {
    const std::lock_guard lock(mutex_);
    return uses_[index(budget)].refusals;
}

bool is_exempt(std::string_view address) noexcept {
    return address == "127.0.0.1" || address == "::1" || address == "::ffff:127.0.0.1";
}

} // namespace turnstone
