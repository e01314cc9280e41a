// The convolutional code against Debian libfec0 1.0-26, by way of tests/reference/coding.json, and its error rate
// against the published bound.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>

#include "protocol/coding/convolutional.hpp"
#include "tests/protocol/bytes.hpp"

using namespace turnstone;

namespace {

std::vector<unsigned> bits_of(const Bytes& bytes) {
    std::vector<unsigned> bits;
    for (const std::byte byte : bytes)
        for (unsigned k = 8; k-- > 0;) bits.push_back(std::to_integer<unsigned>(byte) >> k & 1U);
    return bits;
}

/// What the decoder has given when all symbols are in.
std::vector<unsigned> decode(const std::vector<SoftSymbol>& symbols) {
    std::vector<unsigned> bits;
    ViterbiDecoder decoder;
    decoder.restart();
    for (std::size_t k = 0; k + 1 < symbols.size(); k += 2)
        if (decoder.push(symbols[k], symbols[k + 1]))
            for (unsigned i = ViterbiDecoder::kBits; i-- > 0;) bits.push_back(decoder.bits() >> i & 1U);
    return bits;
}

/// Gaussian noise, by two uniform numbers (Box and Muller): the same on every library.
class Noise {
  public:
    double next() {
        const auto uniform = [&] { return (static_cast<double>(random_()) + 0.5) / 4294967296.0; };
        return std::sqrt(-2 * std::log(uniform())) * std::cos(2 * 3.14159265358979323846 * uniform());
    }
    unsigned bit() { return static_cast<unsigned>(random_() >> 31U); }

  private:
    std::mt19937 random_{12};
};

/// Of bits sent through a channel with this signal to noise, sampled with 8 bits.
double error_rate(double eb_n0_db, int bits) {
    const double sigma = std::sqrt(1 / std::pow(10, 0.1 * eb_n0_db)); // two symbols a bit
    Noise noise;
    const auto received = [&](unsigned symbol) {
        const double value = (symbol != 0 ? 1 : -1) + sigma * noise.next();
        return static_cast<SoftSymbol>(std::clamp(std::lround(127.5 + 64 * value), 0L, 255L));
    };
    ConvolutionalEncoder encoder;
    ViterbiDecoder decoder;
    decoder.restart();
    std::vector<unsigned> sent;
    std::size_t compared = 0, wrong = 0;
    for (int k = 0; k < bits; ++k) {
        sent.push_back(noise.bit());
        const unsigned symbols = encoder.symbols(sent.back());
        const SoftSymbol first = received(symbols >> 1U);
        if (!decoder.push(first, received(symbols & 1U))) continue;
        for (unsigned i = ViterbiDecoder::kBits; i-- > 0;)
            wrong += (decoder.bits() >> i & 1U) != sent[compared++] ? 1 : 0;
    }
    return static_cast<double>(wrong) / static_cast<double>(compared);
}

/// The transfer function bound on the error rate of the code with soft decisions (A. Viterbi, IEEE Trans. Communication
/// Technology 19(5), 1971), by the published weights of wrong bits of the code with generators 171 and 133, distances
/// 10 to 20 (e.g. P. Frenger, P. Orten, T. Ottosson, IEEE Communications Letters 3(11), 1999; from memory, and found
/// again by going through all paths).
double published_rate(double eb_n0_db) {
    constexpr std::pair<int, double> kWeights[] = {{10, 36},    {12, 211},   {14, 1404},
                                                   {16, 11633}, {18, 77433}, {20, 502690}};
    double rate = 0;
    for (const auto& [distance, weight] : kWeights)
        rate += weight * 0.5 * std::erfc(std::sqrt(distance * 0.5 * std::pow(10, 0.1 * eb_n0_db)));
    return rate;
}

} // namespace

TEST_CASE("the encoder's symbols are another library's", "[coding]") {
    const nlohmann::json& reference = read_reference("coding.json").at("convolutional");
    ConvolutionalEncoder encoder;
    std::vector<unsigned> symbols;
    for (const unsigned bit : bits_of(from_hex(reference.at("bits_hex").get<std::string>()))) {
        const unsigned pair = encoder.symbols(bit);
        symbols.push_back(pair >> 1U);
        symbols.push_back(pair & 1U);
    }
    std::vector<unsigned> expected = bits_of(from_hex(reference.at("symbols_hex").get<std::string>()));
    REQUIRE(expected.size() >= symbols.size());
    expected.resize(symbols.size());
    CHECK(symbols == expected);
}

TEST_CASE("noisy symbols are decoded as another library decodes them, errors included", "[coding]") {
    for (const auto& received : read_reference("coding.json").at("convolutional").at("received")) {
        INFO(received.at("eb_n0_db").get<double>() << " dB");
        std::vector<SoftSymbol> symbols;
        for (const std::byte byte : from_hex(received.at("soft_hex").get<std::string>()))
            symbols.push_back(std::to_integer<SoftSymbol>(byte));
        const auto bits = decode(symbols);
        const auto expected = bits_of(from_hex(received.at("decoded_hex").get<std::string>()));
        REQUIRE(bits.size() + ViterbiDecoder::kDepth + ViterbiDecoder::kBits >= expected.size());
        // The other knows the first state and looks back over all symbols, so that a path may differ at the start and,
        // where noise is as strong as the signal, now and then where two were as good: in a hundredth of the bits at
        // most.
        std::size_t different = 0;
        for (std::size_t k = 0; k < bits.size(); ++k) different += bits[k] != expected[k] ? 1 : 0;
        CHECK(different <= (received.at("eb_n0_db") > 2 ? 0u : bits.size() / 100));
    }
}

TEST_CASE("the error rate is within 0.3 dB of the published bound", "[coding]") {
    for (const auto& [eb_n0_db, bits] : {std::pair(3.0, 1'500'000), std::pair(3.5, 3'000'000)}) {
        const double rate = error_rate(eb_n0_db, bits);
        INFO(eb_n0_db << " dB: " << rate << ", bound " << published_rate(eb_n0_db));
        CHECK(rate < published_rate(eb_n0_db));
        CHECK(rate > published_rate(eb_n0_db + 0.3));
    }
}

TEST_CASE("symbols of the other polarity give bits of the other polarity", "[coding]") {
    std::mt19937 random(4);
    ConvolutionalEncoder encoder;
    std::vector<SoftSymbol> upright, inverted;
    for (int k = 0; k < 500; ++k) {
        const unsigned pair = encoder.symbols(random() & 1U);
        for (const unsigned symbol : {pair >> 1U, pair & 1U}) {
            upright.push_back(symbol != 0 ? 255 : 0);
            inverted.push_back(symbol != 0 ? 0 : 255);
        }
    }
    auto bits = decode(upright);
    const auto other = decode(inverted);
    for (unsigned& bit : bits) bit ^= 1U;
    bits.erase(bits.begin(), bits.begin() + 6); // the first state is not known
    CHECK(std::equal(bits.begin(), bits.end(), other.begin() + 6));
}
