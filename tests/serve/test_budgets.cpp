/// What is lent to visitors, and what is not.
#include <catch2/catch.hpp>

#include <string>
#include <vector>

#include "server/serve/budgets.hpp"

using namespace turnstone;

namespace {

constexpr std::size_t kViewersMax = 100;

Client visitor(int number, bool is_operator = false) {
    const std::string address = "192.0.2." + std::to_string(number); // RFC 5737: nobody's addresses
    return {.address = address, .turn = address, .is_operator = is_operator};
}

std::vector<Budget> all_budgets() {
    std::vector<Budget> all;
    for (std::size_t i = 0; i < kBudgets; ++i) all.push_back(static_cast<Budget>(i));
    return all;
}

/// Takes until it is refused, and gives the number of leases.
std::size_t take_all(Budgets& budgets, Budget budget, const Client& client, std::vector<Lease>& leases) {
    std::size_t taken = 0;
    for (auto lease = budgets.take(budget, client); lease; lease = budgets.take(budget, client)) {
        leases.push_back(std::move(*lease));
        REQUIRE(++taken < 1000);
    }
    return taken;
}

std::vector<Budget> counted_budgets() {
    std::vector<Budget> counted = all_budgets();
    std::erase(counted, Budget::answer_bytes);
    return counted;
}

} // namespace

TEST_CASE("every budget leaves something for others, and something for operators") {
    const Budgets budgets(kViewersMax);
    for (const Budget budget : all_budgets()) {
        INFO(word(budget));
        const Limit limit = budgets.limit(budget);
        CHECK(limit.per_address > 0);
        CHECK(limit.per_address <= limit.in_all);
        CHECK(limit.for_operators > 0);
    }
    CHECK(budgets.limit(Budget::viewers).in_all == kViewersMax);
}

TEST_CASE("an address is lent so much, and others all the same") {
    for (const Budget budget : counted_budgets()) {
        INFO(word(budget));
        Budgets budgets(kViewersMax);
        std::vector<Lease> leases;
        const std::size_t per_address = budgets.limit(budget).per_address;
        CHECK(take_all(budgets, budget, visitor(1), leases) == per_address);
        const auto refused = budgets.take(budget, visitor(1));
        REQUIRE_FALSE(refused);
        CHECK(refused.error().message.find("for one address") != std::string::npos);
        CHECK(budgets.used(budget) == per_address);
        CHECK(budgets.refusals(budget) == 2);
        if (per_address < budgets.limit(budget).in_all) CHECK(budgets.take(budget, visitor(2)));
        leases.pop_back();
        CHECK(budgets.take(budget, visitor(1)));
        leases.clear();
        CHECK(budgets.used(budget) == 0);
    }
}

TEST_CASE("all together are lent so much, and operators a little more") {
    for (const Budget budget : counted_budgets()) {
        INFO(word(budget));
        Budgets budgets(kViewersMax);
        std::vector<Lease> leases;
        std::size_t taken = 0;
        for (int i = 1; i <= 50; ++i) taken += take_all(budgets, budget, visitor(i), leases);
        const Limit limit = budgets.limit(budget);
        CHECK(taken == limit.in_all);
        const auto refused = budgets.take(budget, visitor(60));
        REQUIRE_FALSE(refused);
        CHECK(refused.error().message.find("at most " + std::to_string(limit.in_all)) != std::string::npos);
        CHECK(budgets.take(budget, visitor(61, true)));
        taken = 0;
        for (int i = 100; i < 150; ++i) taken += take_all(budgets, budget, visitor(i, true), leases);
        CHECK(taken == limit.for_operators);
    }
}

TEST_CASE("127.0.0.1 and ::1 have no limit of their own, but count in all") {
    for (const char* address : {"127.0.0.1", "::1"}) {
        Budgets budgets(kViewersMax);
        std::vector<Lease> leases;
        const Client here{.address = address, .turn = address, .is_operator = false};
        CHECK(take_all(budgets, Budget::viewers, here, leases) == kViewersMax);
        CHECK_FALSE(budgets.take(Budget::viewers, visitor(1)));
    }
    for (const char* other : {"127.0.0.2", "::2", "10.0.0.1", ""}) CHECK_FALSE(is_exempt(other));
}

TEST_CASE("amounts are lent, nothing costs nothing, and one large thing goes alone") {
    Budgets budgets(kViewersMax);
    const Limit limit = budgets.limit(Budget::answer_bytes);
    const auto nothing = budgets.take(Budget::answer_bytes, visitor(1), 0);
    REQUIRE(nothing);
    {
        const auto large = budgets.take(Budget::answer_bytes, visitor(1), 2 * limit.in_all);
        REQUIRE(large);
        CHECK_FALSE(budgets.take(Budget::answer_bytes, visitor(1), 1));
        CHECK_FALSE(budgets.take(Budget::answer_bytes, visitor(2), 1));
    }
    CHECK(budgets.used(Budget::answer_bytes) == 0);
    const auto half = budgets.take(Budget::answer_bytes, visitor(1), limit.per_address / 2);
    REQUIRE(half);
    CHECK(budgets.take(Budget::answer_bytes, visitor(1), limit.per_address / 2));
    CHECK_FALSE(budgets.take(Budget::answer_bytes, visitor(1), limit.per_address / 2 + 1));
}

TEST_CASE("a lease that is moved is given back once") {
    Budgets budgets(kViewersMax);
    auto first = budgets.take(Budget::replays, visitor(1));
    REQUIRE(first);
    Lease second = std::move(*first);
    CHECK(budgets.used(Budget::replays) == 1);
    Lease third;
    third = std::move(second);
    third.end();
    third.end();
    CHECK(budgets.used(Budget::replays) == 0);
}
