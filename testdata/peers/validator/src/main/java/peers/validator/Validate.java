package peers.validator;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.validation.FhirValidator;
import com.fasterxml.jackson.databind.ObjectMapper;
import com.fasterxml.jackson.databind.SerializationFeature;
import java.io.IOException;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayDeque;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Queue;
import java.util.concurrent.ExecutionException;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import java.util.stream.Stream;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;
import org.hl7.fhir.r5.utils.validation.constants.BestPracticeWarningLevel;

/**
 * Validates R4 JSON files offline with HL7's instance validator and prints one JSON summary.
 *
 * <p>Arguments: files and folders, {@code --ig PATH} (our definitions, which are validated too) and
 * {@code --allow FILE} (accepted warnings). Exit status: 0 good, 1 errors, 2 wrong use or unusable definitions, 3 only
 * warnings that nobody allowed.
 */
public final class Validate {

    private final List<Path> inputs = new ArrayList<>();
    private final List<Path> definitions = new ArrayList<>();
    private List<Allowance> allowances = List.of();

    public static void main(String[] arguments) {
        try {
            System.exit(new Validate().run(arguments));
        } catch (IOException | IllegalArgumentException cause) {
            System.err.println("validator: " + cause.getMessage());
            System.exit(2);
        }
    }

    private int run(String[] arguments) throws IOException {
        read(arguments);
        FhirValidator validator = validator();
        Summary summary = judgeAll(validator);
        var out = new PrintStream(System.out, true, StandardCharsets.UTF_8);
        out.println(new ObjectMapper().enable(SerializationFeature.INDENT_OUTPUT).writeValueAsString(summary));
        report(summary);
        return summary.errors > 0 ? 1 : summary.warnings > 0 ? 3 : 0;
    }

    /**
     * Judges the files on all processors; the summary has them in the order of their names. Definitions come first and one
     * by one: of two at once, the snapshot of one was now and then said to be impossible.
     */
    private Summary judgeAll(FhirValidator validator) throws IOException {
        var summary = new Summary(allowances);
        Map<Path, List<Message>> ofDefinitions = new HashMap<>();
        for (Path file : definitions) {
            ofDefinitions.put(file, judge(validator, file));
        }
        ExecutorService workers = Executors.newFixedThreadPool(Runtime.getRuntime().availableProcessors());
        try {
            Queue<Future<List<Message>>> verdicts = new ArrayDeque<>();
            for (Path file : inputs) {
                List<Message> known = ofDefinitions.get(file);
                verdicts.add(workers.submit(() -> known != null ? known : judge(validator, file)));
            }
            for (Path file : inputs) {
                summary.add(file.toString(), verdicts.remove().get());
                System.err.print("."); // a sign of life: a run takes from seconds to minutes
            }
        } catch (InterruptedException | ExecutionException cause) { // out of memory, for example: no verdict at all
            throw new IOException("could not judge every file: " + cause, cause);
        } finally {
            workers.shutdownNow();
        }
        System.err.println();
        return summary;
    }

    private void read(String[] arguments) throws IOException {
        for (int i = 0; i < arguments.length; i++) {
            switch (arguments[i]) {
                case "--ig" -> definitions.addAll(jsonFiles(value(arguments, ++i)));
                case "--allow" -> allowances = Allowance.read(value(arguments, ++i));
                default -> inputs.addAll(jsonFiles(Path.of(arguments[i])));
            }
        }
        inputs.addAll(definitions);
        if (inputs.isEmpty()) {
            throw new IOException("nothing to validate: give a folder or files");
        }
    }

    private static Path value(String[] arguments, int index) {
        if (index >= arguments.length) {
            throw new IllegalArgumentException(arguments[index - 1] + " needs a path");
        }
        return Path.of(arguments[index]);
    }

    /** The file itself, or every .json below a folder, in the order of their names; an empty folder is a mistake. */
    private static List<Path> jsonFiles(Path root) throws IOException {
        if (!Files.exists(root)) {
            throw new IOException(root + " does not exist");
        }
        try (Stream<Path> below = Files.walk(root)) {
            List<Path> files = below.filter(Files::isRegularFile)
                    .filter(file -> file.equals(root) || file.toString().endsWith(".json"))
                    .sorted()
                    .toList();
            if (files.isEmpty()) {
                throw new IOException(root + " holds no .json file");
            }
            return files;
        }
    }

    private FhirValidator validator() throws IOException {
        FhirContext fhir = FhirContext.forR4Cached();
        var known = new Definitions(fhir);
        for (Path file : definitions) {
            known.add(file);
        }
        var judge = new FhirInstanceValidator(known.chain());
        judge.setAnyExtensionsAllowed(false); // an extension that nobody defines is an error
        judge.setErrorForUnknownProfiles(true);
        judge.setNoTerminologyChecks(false);
        judge.setAssumeValidRestReferences(true);
        judge.setBestPracticeWarningLevel(BestPracticeWarningLevel.Ignore);
        return fhir.newValidator().registerValidatorModule(judge);
    }

    private static List<Message> judge(FhirValidator validator, Path file) {
        try {
            return validator.validateWithResult(Files.readString(file)).getMessages().stream()
                    .map(Message::of)
                    .toList();
        } catch (IOException | RuntimeException cause) { // a file that breaks the validator is not valid
            return List.of(Message.unreadable(cause));
        }
    }

    /** The first three findings of each kind, for a person; all of them are in the summary. */
    private static void report(Summary summary) {
        Map<String, Integer> shown = new HashMap<>();
        for (var file : summary.files) {
            for (Message message : Stream.concat(file.errors().stream(), file.warnings().stream()).toList()) {
                if (shown.merge(message.severity() + message.id(), 1, Integer::sum) <= 3) {
                    System.err.printf("%s %s%n  %s%n  %s: %s%n", message.severity(), message.id(), file.file(),
                            message.path(), message.text());
                }
            }
        }
        System.err.printf("validator: %d files, %d errors, %d warnings, %d allowed warnings, %d notes%n",
                summary.files.size(), summary.errors, summary.warnings, summary.allowed, summary.notes);
        summary.uncheckedSystems.forEach((system, codes) ->
                System.err.printf("validator: not checked offline: %d codes of %s%n", codes, system));
        summary.unusedAllowances.forEach(name -> System.err.printf("validator: no longer needed: %s%n", name));
    }
}
