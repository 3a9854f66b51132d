package peers.validator;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.context.support.ValidationSupportContext;
import ca.uhn.fhir.parser.StrictErrorHandler;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.stream.Stream;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.PrePopulatedValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.SnapshotGeneratingValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.UnknownCodeSystemWarningValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.instance.model.api.IBaseResource;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.CodeSystem;
import org.hl7.fhir.r4.model.MetadataResource;
import org.hl7.fhir.r4.model.Resource;
import org.hl7.fhir.r4.model.StructureDefinition;

/** What the validator knows: the R4 core definitions, and ours from the folders given. Nothing is fetched. */
final class Definitions {

    private final FhirContext fhir;
    private final PrePopulatedValidationSupport ours;
    private final List<StructureDefinition> profiles = new ArrayList<>();

    Definitions(FhirContext fhir) {
        this.fhir = fhir;
        this.ours = new PrePopulatedValidationSupport(fhir);
    }

    /** Adds each definition in a file, or in the Bundle that it holds; a file without one is a mistake. */
    void add(Path file) throws IOException {
        var parser = fhir.newJsonParser().setParserErrorHandler(new StrictErrorHandler());
        Resource read;
        try {
            read = (Resource) parser.parseResource(Files.readString(file));
        } catch (RuntimeException cause) {
            throw new IOException(file + " is not a FHIR resource: " + cause.getMessage(), cause);
        }
        Stream<Resource> resources = read instanceof Bundle bundle
                ? bundle.getEntry().stream().map(Bundle.BundleEntryComponent::getResource)
                : Stream.of(read);
        for (Resource resource : resources.toList()) {
            if (!(resource instanceof MetadataResource)) {
                throw new IOException(file + " holds a " + resource.fhirType() + ", which defines nothing");
            }
            ours.addResource(resource);
            if (resource instanceof StructureDefinition profile) {
                profiles.add(profile);
            }
        }
    }

    /** All of it as the validator asks for it; fails when a profile of ours loses something in its snapshot. */
    IValidationSupport chain() throws IOException {
        var unknownSystems = new UnknownCodeSystemWarningValidationSupport(fhir);
        unknownSystems.setNonExistentCodeSystemSeverity(IValidationSupport.IssueSeverity.WARNING);
        var chain = new ValidationSupportChain(
                new CoreWithoutStubs(fhir),
                ours,
                new CommonCodeSystemsTerminologyService(fhir),
                new SnapshotGeneratingValidationSupport(fhir),
                new InMemoryTerminologyServerValidationSupport(fhir),
                unknownSystems);
        // FHIR asks for one coding of a concept in the bound value set; HAPI would ask for all.
        chain.setCodeableConceptValidationSuccessfulIfNotAllCodingsAreValid(true);
        for (StructureDefinition profile : profiles) {
            // The validator would make the snapshot by itself, but not always on the first call for a type.
            ours.addResource(wholeOf(profile, chain));
        }
        return chain;
    }

    private static StructureDefinition wholeOf(StructureDefinition profile, ValidationSupportChain chain) throws IOException {
        var context = new ValidationSupportContext(chain);
        var whole = profile.hasSnapshot()
                ? profile
                : chain.generateSnapshot(context, profile, profile.getUrl(), null, profile.getName());
        List<String> lost = SnapshotLoss.find(profile, (StructureDefinition) whole);
        if (!lost.isEmpty()) {
            throw new IOException("the snapshot of " + profile.getUrl() + " loses: " + String.join("; ", lost));
        }
        return (StructureDefinition) whole;
    }

    /**
     * The core definitions hold SNOMED CT and others as systems without content. With such a stub every SNOMED code
     * passes without a word; without it the system is unknown, which is a warning that can be counted.
     */
    private static final class CoreWithoutStubs extends DefaultProfileValidationSupport {

        CoreWithoutStubs(FhirContext fhir) {
            super(fhir);
        }

        @Override
        public IBaseResource fetchCodeSystem(String system) {
            IBaseResource found = super.fetchCodeSystem(system);
            boolean stub = found instanceof CodeSystem codes
                    && codes.getContent() == CodeSystem.CodeSystemContentMode.NOTPRESENT;
            return stub ? null : found;
        }
    }
}
