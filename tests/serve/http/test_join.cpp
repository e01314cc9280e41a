/// How phones come to the station: codes for its own addresses and for no others. What a code says is libqrencode's
/// matter; that its modules are drawn where they belong is checked against the finder patterns of ISO/IEC 18004 (a dark
/// ring of seven modules around a dark square of three, in three corners) and against the code in its other form.
#include <regex>
#include <string>
#include <vector>

#include <catch2/catch.hpp>

#include "server/serve/join_code.hpp"
#include "tests/serve/fixture.hpp"

using namespace turnstone;
using nlohmann::json;

namespace {

/// Dark modules, by row, without the quiet zone of four.
using Rows = std::vector<std::string>;

Rows rows_of_svg(const std::string& svg) {
    std::smatch found;
    REQUIRE(std::regex_search(svg, found, std::regex("viewBox=\"0 0 ([0-9]+) ")));
    const auto size = static_cast<std::size_t>(std::stoi(found[1]));
    Rows all(size, std::string(size, ' '));
    const std::regex run("M([0-9]+) ([0-9]+)h([0-9]+)v1h-([0-9]+)z");
    for (std::sregex_iterator each(svg.begin(), svg.end(), run), end; each != end; ++each) {
        REQUIRE((*each)[3] == (*each)[4]);
        for (std::size_t k = 0; k < std::stoul((*each)[3]); ++k)
            all.at(static_cast<std::size_t>(std::stoi((*each)[2])))
                .at(static_cast<std::size_t>(std::stoi((*each)[1])) + k) = '#';
    }
    Rows rows;
    for (std::size_t y = 0; y < size; ++y) {
        const bool quiet = y < 4 || y >= size - 4;
        CHECK((!quiet || all[y] == std::string(size, ' ')));
        CHECK(all[y].substr(0, 4) + all[y].substr(size - 4) == std::string(8, ' '));
        if (!quiet) rows.push_back(all[y].substr(4, size - 8));
    }
    return rows;
}

Rows rows_of_terminal(const std::string& text) {
    Rows rows;
    std::size_t at = 0;
    while (at < text.size()) {
        const std::size_t end = text.find('\n', at);
        std::string line = text.substr(at, end - at);
        at = end + 1;
        const std::string on = "\x1b[30;47m", off = "\x1b[0m";
        REQUIRE(line.starts_with(on));
        REQUIRE(line.ends_with(off));
        line = line.substr(on.size(), line.size() - on.size() - off.size());
        std::string upper, lower;
        while (!line.empty()) {
            const std::string one = line[0] == ' ' ? " " : line.substr(0, 3);
            line.erase(0, one.size());
            upper += one == "\u2588" || one == "\u2580" ? '#' : ' ';
            lower += one == "\u2588" || one == "\u2584" ? '#' : ' ';
        }
        rows.push_back(upper);
        rows.push_back(lower);
    }
    const std::size_t size = rows.at(0).size();
    Rows inner;
    for (std::size_t y = 4; y < size - 4; ++y) inner.push_back(rows.at(y).substr(4, size - 8));
    return inner;
}

void check_finder(const Rows& rows, std::size_t left, std::size_t top) {
    const Rows finder{"#######", "#     #", "# ### #", "# ### #", "# ### #", "#     #", "#######"};
    for (std::size_t y = 0; y < 7; ++y) CHECK(rows.at(top + y).substr(left, 7) == finder[y]);
}

} // namespace

TEST_CASE("a code is drawn with its patterns in their corners, the same on a page and in a terminal") {
    for (const char* text : {"http://127.0.0.1:8321/#/watch", "http://[fd00:1234:5678::20]:8321/#/watch"}) {
        const Rows rows = rows_of_svg(qr_svg(text));
        REQUIRE((rows.size() - 17) % 4 == 0); // 17 + 4 times the version
        check_finder(rows, 0, 0);
        check_finder(rows, rows.size() - 7, 0);
        check_finder(rows, 0, rows.size() - 7);
        CHECK(rows_of_terminal(qr_terminal(text)) == rows);
    }
    CHECK(qr_svg("http://127.0.0.1:8321/#/watch") != qr_svg("http://127.0.0.1:8322/#/watch"));
    CHECK_THROWS(qr_svg(std::string(5000, 'x')));
}

TEST_CASE("a page asks where others reach the station, and gets a code for each of its addresses alone") {
    const LiveServer live;
    const json list = json::parse(live.get("/api/join").body);
    REQUIRE(list["addresses"].size() == 1);
    const std::string address = list["addresses"][0]["address"];
    CHECK(address == "http://127.0.0.1:" + std::to_string(live.port()) + "/");
    CHECK(list["addresses"][0]["link"] == address + "#/watch");

    const HttpReply code = live.get("/api/join.svg?address=" + address);
    CHECK(code.status == 200);
    CHECK(code.field("Content-Type") == "image/svg+xml");
    CHECK(code.body == qr_svg(address + "#/watch"));
    for (const char* wrong : {"/api/join.svg", "/api/join.svg?address=http://example.com/", "/api/join.svg?address="})
        CHECK(live.get(wrong).status == 404);
    for (const char* wrong : {"/api/join?x=1", "/api/join.svg?text=x"}) CHECK(live.get(wrong).status == 400);
    CHECK(live.post("/api/join", "{}").status == 405);
}
