// Randomizer and Reed-Solomon codes against values from outside: the published sequence of CCSDS 131.0-B and codewords
// of Debian libfec0 1.0-26, by way of tests/reference/ccsds.json and coding.json.
#include <catch2/catch.hpp>

#include <numeric>

#include "protocol/coding/randomizer.hpp"
#include "protocol/coding/reed_solomon.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

Bytes octets(const nlohmann::json& entry, const char* key) {
    return from_hex(entry.at(key).get<std::string>());
}

Bytes in_conventional(const nlohmann::json& entry, const char* key, bool dual) {
    Bytes bytes = octets(entry, key);
    if (dual) to_conventional_basis(bytes);
    return bytes;
}

} // namespace

TEST_CASE("the randomizer's sequence is the published one, and undoes itself", "[coding]") {
    const nlohmann::json& reference = read_reference("ccsds.json");
    Bytes sequence(255);
    randomize(sequence);
    CHECK(sequence == octets(reference.at("randomizer"), "first_255_octets_hex"));
    for (const auto& example : reference.at("randomizer_examples")) {
        Bytes bytes = octets(example, "plain_hex");
        randomize(bytes);
        CHECK(bytes == octets(example, "randomized_hex"));
        randomize(bytes);
        CHECK(bytes == octets(example, "plain_hex"));
    }
    Bytes longer(600); // the sequence begins again
    randomize(longer);
    CHECK(std::equal(sequence.begin(), sequence.end(), longer.begin() + 255));
}

TEST_CASE("the two bases of symbols turn into each other as the standard's table says", "[coding]") {
    const nlohmann::json& reference = read_reference("ccsds.json").at("reed_solomon");
    Bytes all(256);
    for (unsigned k = 0; k < all.size(); ++k) all[k] = static_cast<std::byte>(k);
    Bytes dual = all, conventional = all;
    to_dual_basis(dual);
    to_conventional_basis(conventional);
    CHECK(dual == octets(reference, "dual_basis_from_conventional_hex"));
    CHECK(conventional == octets(reference, "conventional_from_dual_basis_hex"));
}

TEST_CASE("parity is another library's, in both codes, bases and shortened", "[coding]") {
    int checked = 0;
    for (const auto& vector : read_reference("ccsds.json").at("reed_solomon_vectors")) {
        INFO(vector.at("id").get<std::string>());
        const bool dual = vector.at("representation") == "dual-basis";
        const ReedSolomon code(vector.at("E").get<unsigned>());
        Bytes parity(code.parity_bytes());
        code.encode(in_conventional(vector, "data_hex", dual), parity);
        if (dual) to_dual_basis(parity);
        CHECK(parity == octets(vector, "parity_hex"));
        ++checked;
        if (!vector.contains("corrupted_16_hex")) continue;
        Bytes word = in_conventional(vector, "corrupted_16_hex", dual);
        CHECK(code.correct(word) == 16u);
        if (dual) to_dual_basis(word);
        Bytes sent = octets(vector, "data_hex");
        sent.insert(sent.end(), parity.begin(), parity.end());
        CHECK(word == sent);
        Bytes beyond = in_conventional(vector, "corrupted_17_hex", dual);
        const Bytes before = beyond;
        CHECK_FALSE(code.correct(beyond));
        CHECK(beyond == before);
    }
    CHECK(checked == 13);
}

TEST_CASE("received words are corrected or given up as another library does", "[coding]") {
    int corrected = 0, given_up = 0;
    for (const auto& each : read_reference("coding.json").at("reed_solomon")) {
        const bool dual = each.at("basis") == "dual";
        const ReedSolomon code(each.at("correctable").get<unsigned>());
        Bytes word = in_conventional(each, "received_hex", dual);
        const auto result = code.correct(word);
        if (each.at("corrected").get<int>() < 0) { // as that library says of too many errors
            CHECK_FALSE(result);
            CHECK(word == in_conventional(each, "received_hex", dual));
            ++given_up;
            continue;
        }
        CHECK(result == each.at("corrected").get<unsigned>());
        CHECK(word == in_conventional(each, "decoded_hex", dual));
        ++corrected;
    }
    CHECK(corrected == 112);
    CHECK(given_up == 48);
}

TEST_CASE("as many wrong symbols as the code corrects are corrected, wherever they are", "[coding]") {
    std::mt19937 random(9);
    for (const unsigned correctable : {16u, 8u}) {
        const ReedSolomon code(correctable);
        for (int round = 0; round < 300; ++round) {
            const std::size_t data = 1 + random() % (kCodewordBytes - code.parity_bytes());
            Bytes word = random_bytes(random, data, 10);
            word.resize(data + code.parity_bytes());
            code.encode(std::span(word).first(data), std::span(word).subspan(data));
            Bytes received = word;
            std::vector<std::size_t> places(word.size());
            std::iota(places.begin(), places.end(), 0u);
            std::shuffle(places.begin(), places.end(), random);
            const unsigned errors =
                static_cast<unsigned>(std::min<std::size_t>(random() % (correctable + 1), word.size()));
            for (unsigned k = 0; k < errors; ++k) received[places[k]] ^= static_cast<std::byte>(1 + random() % 255);
            CHECK(code.correct(received) == errors);
            CHECK(received == word);
        }
    }
}
