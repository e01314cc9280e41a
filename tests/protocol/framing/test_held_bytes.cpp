// The window of held bytes, beside a plain list of what has come.
#include <catch2/catch.hpp>

#include "protocol/framing/held_bytes.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("held bytes are the stream's, in order and at their place, whatever is filled in and passed",
          "[held_bytes]") {
    std::mt19937 random(6);
    const Bytes stream = random_bytes(random, 20'000, 10);
    for (const std::size_t room : {1u, 7u, 100u, 4096u}) {
        HeldBytes held(room);
        std::size_t came = 0, passed = 0;
        while (passed < stream.size()) {
            const std::size_t size = std::min<std::size_t>(random() % 300, stream.size() - came);
            const Exact next(std::span<const std::byte>(stream).subspan(came, size));
            const std::size_t free = room - (came - passed);
            const std::size_t taken = held.fill(next.span());
            REQUIRE(taken == std::min(free, next.span().size()));
            came += taken;
            REQUIRE(held.offset() == passed);
            REQUIRE(held.end() == came);
            REQUIRE(std::ranges::equal(held.rest(), std::span<const std::byte>(stream).subspan(passed, came - passed)));
            for (std::size_t place = passed; place < came; place += 1 + random() % 50) {
                REQUIRE(held[place] == stream[place]);
                REQUIRE(held.from(place).size() == came - place);
                REQUIRE(held.from(place).front() == stream[place]);
            }
            REQUIRE(held.from(came).empty());
            const std::size_t more = random() % (came - passed + 1);
            held.pass(more);
            passed += more;
            REQUIRE(held.offset() == passed);
            REQUIRE(held.rest().size() == came - passed);
        }
    }
}
